package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"echotally/internal/desk"
	"echotally/internal/disk"
	"echotally/internal/library"
	"echotally/internal/spool"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
)

// serveFlags are the flags of serve.
type serveFlags struct {
	ledgerFlags
	config string
}

func newServeCommand(a *app) *cobra.Command {
	f := &serveFlags{}
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Receive reports and images from scanners",
		Long: `Receive structured reports and ultrasound images by DICOM (Storage and Verification, as
provider) and by DICOMweb (STOW-RS), watch a folder, and record each study in the
ledger once nothing of it has come for a while, and again when something comes later.
An object is acknowledged when it is whole and on the disk; one that cannot be read
goes to the folder quarantine of the spool, with the reason, and the sender is told.
What is recorded moves to the folder recorded; nothing is deleted. No image is looked
at but its header.

Receivers, spool and times are in a file that --config names. This one says what
holds without it. The environment wins over the file: a variable is ECHOTALLY_ and
the place of the line in capitals, as ECHOTALLY_DICOM_LISTEN or
ECHOTALLY_QUIET_SECONDS; the entries of a list stand between commas.

  ` + strings.ReplaceAll(strings.TrimSpace(serveExample()), "\n", "\n  "),
		Example: "  echotally serve --config serve.yaml --store lab.db --key /secure/echotally.key\n  echotally serve check --config serve.yaml",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	f.addKey(cmd)
	cmd.PersistentFlags().StringVar(&f.config, "config", "", "configuration file")
	cmd.AddCommand(&cobra.Command{
		Use:     "check",
		Short:   "Check a configuration without serving",
		Long:    "Read the configuration, its certificates and the environment, and say what would be served.",
		Example: "  echotally serve check --config serve.yaml",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			c, err := readServeConfig(f.config)
			if err != nil {
				return err
			}
			for _, s := range c.sections() {
				if says := s.says(); says != "" {
					fmt.Fprintln(a.stdout, says)
				}
			}
			_, err = fmt.Fprintf(a.stdout, "spool %s, studies recorded after %g quiet seconds\n", c.Spool, c.QuietSeconds)
			return err
		},
	})
	return cmd
}

// serveSection is one part of what is served: what the configuration says of it, and
// how it is begun.
type serveSection interface {
	example() string // its lines of the configuration, as they hold without any
	check() error    // what cannot be served, with a hint
	says() string    // what it does, for serve check; "" where it is off
	// begin begins it where it is on; what goes on runs in the group until the
	// context ends.
	begin(ctx context.Context, s *serving) error
}

// serving is what the parts work with.
type serving struct {
	*app
	rules  *rulesInForce
	ledger *store.Store
	key    *keyfile.Key
	record *desk.Recorder
	spool  *spool.Spool
	group  *errgroup.Group
	config *serveConfig
}

// inTurn tells what is recorded by several receivers.
type inTurn struct {
	recorder
	turn sync.Mutex
}

func (r *inTurn) tell(receipt *store.Receipt) error {
	r.turn.Lock()
	defer r.turn.Unlock()
	return r.recorder.tell(receipt)
}

func (r *inTurn) failed(uid, reason string) {
	r.turn.Lock()
	defer r.turn.Unlock()
	r.recorder.failed(uid, reason)
}

// listen listens and tells where, which a port 0 leaves to the system.
func (s *serving) listen(what, key, address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, hinted{fmt.Errorf("listen: %w", err), "another program may have the port; " + key + " names another"}
	}
	_, err = fmt.Fprintf(s.stdout, "serving\t%s\t%s\n", what, l.Addr())
	return l, err
}

// spoolFault says why a spool cannot be used.
func spoolFault(dir string, err error) error {
	if errors.Is(err, disk.ErrInUse) {
		return hinted{
			fmt.Errorf("spool %s: another echotally (serve or fetch) works in this folder, and two would take each other's objects", dir),
			"end the other one, or give this one a folder of its own: the line spool of the configuration of serve, --spool of fetch",
		}
	}
	return hinted{fmt.Errorf("spool: %w", err), "check that the folder may be written to"}
}

// pace is how often the spool is looked through at least (site choice).
const pace = time.Second

// mostServing is from how much memory on the collector runs more often, in bytes: the
// rules, the studies of some periods and the pages that are kept leave room in it.
const mostServing = 256 << 20

func (f *serveFlags) run(ctx context.Context, a *app) error {
	c, err := readServeConfig(f.config)
	if err != nil {
		return err
	}
	a.mayBeEmpty = true
	set, err := a.ruleSet(library.Settings{})
	if err != nil {
		return err
	}
	ledger, err := f.open(ctx, a, true)
	if err != nil {
		return err
	}
	defer ledger.Close()
	d, done, err := a.desk(set, true)
	if err != nil {
		return err
	}
	defer done()
	objects := &spool.Spool{Dir: c.Spool, Check: received}
	defer objects.Close()
	if err := errors.Join(objects.Make("serve"), objects.Record()); err != nil {
		return spoolFault(c.Spool, err)
	}
	key, err := f.readKey(ctx)
	if err != nil {
		return err
	}
	defer sparingUpTo(mostServing)()
	d.Progress = nil // there is no end to come near to
	r := &inTurn{recorder: recorder{app: a, set: set, ledger: ledger}}
	group, within := errgroup.WithContext(ctx)
	s := &serving{app: a, ledger: ledger, key: key, spool: objects, group: group, config: c}
	s.rules = &rulesInForce{app: a, work: desk.NewInForce(d), since: a.now()}
	s.record = &desk.Recorder{Desk: d, InForce: s.rules.work, Ledger: ledger, Tell: r.tell, Failed: r.failed}
	group.Go(func() error {
		for _, part := range c.sections() {
			if err := part.begin(within, s); err != nil {
				return err
			}
		}
		return s.record.Inbox(within, desk.Inbox{Waiting: objects.Waiting(), Recorded: objects.Recorded(), Quiet: seconds(c.QuietSeconds), Pace: pace})
	})
	err = group.Wait()
	if errors.Is(err, context.Canceled) {
		err = nil // what lies in the spool is taken at the next start
	}
	return err
}
