package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/store"
	"echotally/internal/store/keyfile"
)

// ledgerFlags say which ledger and which key.
type ledgerFlags struct{ store, key string }

// The variables of the environment that stand for the two flags.
const (
	storeVariable = "ECHOTALLY_STORE"
	keyVariable   = "ECHOTALLY_KEY"
)

// filesFromEnvironment gives the flags of ledger and key what the environment says, unless
// the command line does. A key that stands there itself, where it does not belong, is
// neither used nor shown.
func filesFromEnvironment(cmd *cobra.Command) error {
	for flag, variable := range map[string]string{"store": storeVariable, "key": keyVariable} {
		value, f := os.Getenv(variable), cmd.Flags().Lookup(flag)
		switch {
		case value == "" || f == nil || f.Changed:
			continue
		case keyfile.Is(value):
			return faults{hinted{fmt.Errorf("%s holds a key, not the name of its file", variable), "put the key back into a file that only its owner may read, and name that"}}
		}
		if err := f.Value.Set(value); err != nil {
			return faults{fmt.Errorf("%s: %w", variable, err)}
		}
	}
	return nil
}

func (l *ledgerFlags) add(cmd *cobra.Command) {
	cmd.PersistentFlags().StringVar(&l.store, "store", store.DefaultFile, "the ledger, one SQLite file; without it, what "+storeVariable+" says")
}

func (l *ledgerFlags) addKey(cmd *cobra.Command) {
	cmd.Flags().StringVar(&l.key, "key", "", "file of the key that seals identities, never the key itself; without it, the file "+keyVariable+" names, or echotally/key in the user's configuration folder")
}

// open opens the ledger for writing. Where the key is needed, one is made for a
// ledger that has none; elsewhere it is taken when it is at hand, so that the seal of
// what is written shows it.
func (l *ledgerFlags) open(ctx context.Context, a *app, withKey bool) (*store.Store, error) {
	key, err := l.firstKey, error(nil)
	if !withKey {
		key = func(ctx context.Context) (*keyfile.Key, error) { return l.keyAtHand(ctx, l.store) }
	}
	opt := store.Options{Now: a.now}
	if opt.Key, err = key(ctx); err != nil {
		return nil, err
	}
	return l.opened(store.Open(ctx, l.store, opt))
}

// opened names the file with the error of opening it.
func (l *ledgerFlags) opened(s *store.Store, err error) (*store.Store, error) {
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.store, err)
	}
	return s, nil
}

// keyAtHand reads the key that was named. When none was, it is the user's own where
// that is the key of the file, else none.
func (l *ledgerFlags) keyAtHand(ctx context.Context, file string) (*keyfile.Key, error) {
	key, err := l.readKey(ctx)
	if l.key == "" && (err != nil || !store.Fits(ctx, key, file)) {
		return nil, nil
	}
	return key, err
}

// readKey reads the key; it makes none.
func (l *ledgerFlags) readKey(context.Context) (*keyfile.Key, error) {
	file, err := l.keyFile()
	if err != nil {
		return nil, err
	}
	return keyfile.Read(file)
}

// firstKey reads the key, or makes it for a ledger that has none.
func (l *ledgerFlags) firstKey(ctx context.Context) (*keyfile.Key, error) {
	file, err := l.keyFile()
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		has, err := store.HasKey(ctx, l.store)
		if err != nil {
			return nil, err
		}
		if !has {
			return keyfile.Make(file)
		}
	}
	return keyfile.Read(file)
}

func (l *ledgerFlags) keyFile() (string, error) {
	if l.key != "" {
		return l.key, nil
	}
	return keyfile.DefaultFile()
}

// viewKeyed opens the ledger for reading, and refuses a key that was named and is
// not the ledger's.
func (l *ledgerFlags) viewKeyed(ctx context.Context) (*store.Store, error) {
	if l.key == "" {
		return l.view(ctx)
	}
	key, err := l.readKey(ctx)
	if err != nil {
		return nil, err
	}
	return l.opened(store.Open(ctx, l.store, store.Options{ReadOnly: true, Key: key}))
}

// view opens the ledger for reading; it must be there.
func (l *ledgerFlags) view(ctx context.Context) (*store.Store, error) {
	return l.opened(store.Open(ctx, l.store, store.Options{ReadOnly: true}))
}

func newLedgerCommand(a *app) *cobra.Command {
	l := &ledgerFlags{}
	cmd := &cobra.Command{
		Use:   "ledger",
		Short: "Look after the lab's ledger",
		Long: `Look after the ledger, the one file in which intake keeps every object, study,
result, waiver and time. Who the studies are of is sealed in it with a key file,
which is not part of it and of no backup: keep a copy of the key elsewhere.`,
		Example: "  echotally ledger stats\n  echotally ledger verify\n  echotally ledger backup /backup/ledger-2026-10.db",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	l.add(cmd)
	cmd.AddCommand(newLedgerBackupCommand(a, l), newLedgerPurgeCommand(a, l), newLedgerRestoreCommand(a, l), newLedgerStatsCommand(a, l), newLedgerVerifyCommand(a, l))
	return cmd
}

func newLedgerBackupCommand(a *app, l *ledgerFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the ledger while it is in use",
		Long: `Write a whole copy of the ledger as it is at this moment to a new file. Others may
read and write meanwhile. The key file is not in it.`,
		Example: "  echotally ledger backup /backup/ledger-2026-10.db",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := os.Lstat(args[0]); err == nil {
				return faults{hinted{errors.New("back up ledger: there is a file of this name"), "give a new name; a backup is never written over"}}
			}
			s, err := l.view(cmd.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			part := hidden(args[0])
			a.unfinished.add(part)
			if err := s.Backup(cmd.Context(), part); err != nil {
				a.unfinished.drop(part)
				return err
			}
			if err := a.unfinished.finish(part, func() error {
				if _, err := os.Lstat(args[0]); err == nil { // it came meanwhile
					return errors.New("back up ledger: there is a file of this name")
				}
				return os.Rename(part, args[0])
			}); err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.stdout, "ledger %s copied to %s\n", l.store, args[0])
			return err
		},
	}
}

func newLedgerRestoreCommand(a *app, l *ledgerFlags) *cobra.Command {
	var force bool
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of the ledger",
		Long: `Verify a backup and put a copy of it in the place of the ledger. A ledger that is
there is not lost: it is set aside under a name with the time, and a number when
that is taken. A file that looks like no ledger is set aside only with --force.
Stop intake first.`,
		Example: "  echotally ledger restore /backup/ledger-2026-10.db",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			key, err := l.keyAtHand(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			if !force && noLedger(l.store) {
				return faults{hinted{fmt.Errorf("restore ledger: %s is there and is no ledger", l.store), "give the ledger's file with --store, or --force to set this one aside"}}
			}
			part := hidden(l.store)
			for _, suffix := range []string{"", "-wal", "-shm"} {
				a.unfinished.add(part + suffix)
				defer a.unfinished.drop(part + suffix)
			}
			aside, err := store.Restore(cmd.Context(), args[0], part, l.store, store.Options{Key: key, Now: a.now})
			if err != nil {
				return err
			}
			if aside != "" {
				fmt.Fprintf(a.stdout, "the ledger that was there is now %s\n", aside)
			}
			_, err = fmt.Fprintf(a.stdout, "ledger %s restored from %s\n", l.store, args[0])
			return err
		},
	}
	l.addKey(cmd)
	cmd.Flags().BoolVar(&force, "force", false, "set aside what is in the place of the ledger, whatever it is")
	return cmd
}

// noLedger reports whether a file is there that does not even begin as a ledger
// does.
func noLedger(file string) bool {
	const begin = "SQLite format 3\x00"
	f, err := os.Open(file)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, len(begin))
	n, _ := io.ReadFull(f, head)
	return n > 0 && string(head[:n]) != begin
}

func newLedgerVerifyCommand(a *app, l *ledgerFlags) *cobra.Command {
	var head string
	cmd := &cobra.Command{
		Use:   "verify",
		Short: "Prove that the ledger is as it was written",
		Long: `Go through the chain of events and hold every row against the event that wrote it.
A row that was changed, added or taken out by anything but this program, or an
event that was, ends with exit code 1.

The head that is printed is the digest of all that is in the ledger. Note it elsewhere
and give it with --head later: then it is also proved that nothing was cut off
since or written anew. With the key, the one named or your own, it is also proved
that whoever wrote studies and lists had it: nobody else can write them anew.`,
		Example: "  echotally ledger verify\n  echotally ledger verify --head 5c1e... --store /backup/ledger-2026-10.db",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			key, err := l.keyAtHand(cmd.Context(), l.store)
			if err != nil {
				return err
			}
			s, err := l.opened(store.Open(cmd.Context(), l.store, store.Options{ReadOnly: true, Key: key}))
			if err != nil {
				return err
			}
			defer s.Close()
			proof, err := s.Verify(cmd.Context(), head)
			if err != nil {
				return err
			}
			for _, f := range proof.Faults {
				fmt.Fprintln(a.stdout, f)
			}
			if n := len(proof.Faults); n > 0 {
				return hinted{fmt.Errorf("ledger %s is not as it was written", l.store), "keep this file for those who look into it, and restore the last backup that holds"}
			}
			marked := "not held against the key, which was not given"
			if key != nil {
				marked = fmt.Sprintf("%d made with the key", proof.Marked)
			}
			_, err = fmt.Fprintf(a.stdout, "holds: %d events, %d rows\nseals: %d, %s\nhead %s\n", proof.Events, proof.Rows, proof.Seals, marked, proof.Head)
			return err
		},
	}
	l.addKey(cmd)
	cmd.Flags().StringVar(&head, "head", "", "head printed by an earlier verify, which must be in the chain")
	return cmd
}

func newLedgerPurgeCommand(a *app, l *ledgerFlags) *cobra.Command {
	var before string
	cmd := &cobra.Command{
		Use:   "purge --before DATE",
		Short: "Take out the studies before a day",
		Long: `Take out, for good, the studies dated before the day: identity, objects, readings,
results, waivers and times, and objects of no study that were recorded before it.
The events stay, with digests and UIDs, so that the chain still proves the rest.
Studies without a date stay. What is taken out is overwritten on disk. While
another process reads the ledger that cannot be done: it is said, with exit code 1,
and the same command does it later. Backups and ledgers set aside are not touched.`,
		Example: "  echotally ledger backup last.db\n  echotally ledger purge --before 2023-01-01",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			day, err := time.Parse(time.DateOnly, before)
			if err != nil {
				return faults{hinted{errors.New("--before is not a date"), "write it as 2023-01-01"}}
			}
			if _, err := os.Stat(l.store); err != nil {
				return hinted{fmt.Errorf("there is no ledger %s", l.store), "name it with --store"}
			}
			s, err := l.open(cmd.Context(), a, false)
			if err != nil {
				return err
			}
			defer s.Close()
			out, err := s.Purge(cmd.Context(), day)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.stdout, "%d studies and %d objects taken out; %d studies without a date stay\n", out.Studies, out.Objects, out.Undated)
			if err == nil && out.Remains {
				return hinted{errors.New("bytes of what was taken out are still on disk: another process reads the ledger"), "end it, then give the same command again, which overwrites them and looks whether they are gone"}
			}
			return err
		},
	}
	l.addKey(cmd)
	cmd.Flags().StringVar(&before, "before", "", "first day that stays, 2023-01-01")
	return cmd
}

func newLedgerStatsCommand(a *app, l *ledgerFlags) *cobra.Command {
	return &cobra.Command{
		Use:     "stats",
		Short:   "Count what the ledger holds",
		Long:    "Count studies, objects by state, refusals by reason, judgements, waivers and times.",
		Example: "  echotally ledger stats --store /data/echotally.db",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := l.view(cmd.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			n, err := s.Statistics(cmd.Context())
			if err != nil {
				return err
			}
			return a.statistics(n)
		},
	}
}

func (a *app) statistics(n *store.Statistics) error {
	fmt.Fprintf(a.stdout, "studies       %d, dated %s to %s\n", n.Studies, n.First, n.Last)
	fmt.Fprintf(a.stdout, "              %d without a date, %d without a readable report\n", n.Undated, n.WithoutReport)
	for _, state := range slices.Sorted(maps.Keys(n.Objects)) {
		fmt.Fprintf(a.stdout, "objects       %d %s\n", n.Objects[state], state)
	}
	for _, reason := range slices.Sorted(maps.Keys(n.Refusals)) {
		fmt.Fprintf(a.stdout, "refused       %d: %s\n", n.Refusals[reason], reason)
	}
	fmt.Fprintf(a.stdout, "judgements    %d by %d rule sets\n", n.Judgements, n.RuleSets)
	fmt.Fprintf(a.stdout, "waivers       %d, %d of them withdrawn\n", n.Waivers, n.Withdrawn)
	fmt.Fprintf(a.stdout, "lists         %d sign-off rows, %d staff, %d stations\n", n.Stamps, n.Staff, n.Stations)
	_, err := fmt.Fprintf(a.stdout, "events        %d\nsize          %.1f MB\n", n.Events, float64(n.Bytes)/1e6)
	return err
}
