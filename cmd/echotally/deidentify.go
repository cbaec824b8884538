package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"echotally/internal/dcm"
	"echotally/internal/deident"
	"echotally/internal/extract"
	"echotally/internal/intake"
	"echotally/internal/layout"
	"echotally/internal/printable"
	"echotally/internal/sr"
)

// deidentifyFlags are the flags of deidentify.
type deidentifyFlags struct {
	periodFlags
	out, list string
	studies   []string // Study Instance UIDs; none: all
}

func newDeidentifyCommand(a *app) *cobra.Command {
	f := &deidentifyFlags{}
	cmd := &cobra.Command{
		Use:   "deidentify PATH... --out DIR",
		Short: "Write copies of structured reports that name nobody",
		Long: `Write de-identified copies of the structured reports below the paths to an empty
folder: DICOM PS3.15 Basic Application Level Confidentiality Profile with Clean
Structured Content, Clean Descriptors, Modified Dates and Retain Patient
Characteristics. Attributes that are not on the list of those that may stay are taken
out, persons are removed, UIDs replaced alike in all copies, dates shifted by a
number of days of each patient's own, and of texts only words are kept that reports
are written with. Sex, age (90 and over as 90), size and weight stay: without them
no rule about body size can be put to a copy.

Each copy is read again: it must give the same measurements and hold no name, number
or UID of the report, else it is not written. Look at the copies before they leave
the lab. Each is named by a code of its patient, which is no code of the ledger's other
lists; with the ledger's --key, the same patient has the same code next time. Which
copy is of which report only --list says, in a file that only its owner may read.
With --study, once or more, only studies of these Study Instance UIDs are copied, such
as echotally cases chooses. Images are not copied.`,
		Example: "  echotally deidentify /data/cases --out copies --key ~/.config/echotally/key\n  echotally deidentify /archive/2026 --study 2.25.17 --study 2.25.18 --out copies --list copies.csv",
		Args:    arguments(1, many),
		RunE:    func(cmd *cobra.Command, paths []string) error { return f.run(cmd.Context(), a, paths) },
	}
	f.addKey(cmd)
	cmd.Flags().StringVar(&f.out, "out", "", "empty folder to write to")
	cmd.Flags().StringSliceVar(&f.studies, "study", nil, "only the study of this Study Instance UID (repeatable)")
	cmd.Flags().StringVar(&f.list, "list", "", "new file that says which copy is of which report; it stays in the lab")
	return cmd
}

// copied counts what became of the files.
type copied struct {
	written, texts, lost, other, refused int

	list strings.Builder // copy and report
	of   map[string]bool // studies to be copied, and whether a report of each was found; empty: all
}

func (f *deidentifyFlags) run(ctx context.Context, a *app, paths []string) error {
	if f.out == "" {
		return faults{hinted{errors.New("nowhere to write to"), "name an empty folder by --out"}}
	}
	if err := empty(f.out); err != nil {
		return err
	}
	if f.key != "" {
		if _, err := f.readKey(ctx); err != nil {
			return err
		}
	}
	lib, err := a.catalogues()
	if err != nil {
		return err
	}
	mark := randomMark()
	if f.key != "" {
		mark = f.marker(ctx)
	}
	copier := deident.NewCopier(extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements}, mark)
	batch, err := intake.Find(ctx, paths, a.stdin, zerolog.Nop())
	if err != nil {
		return err
	}
	defer batch.Close()
	if f.list != "" {
		if _, err := os.Lstat(f.list); err == nil {
			return faults{hinted{errors.New("--list: there is a file of this name"), "give a new name"}}
		}
	}
	n := copied{of: map[string]bool{}}
	for _, study := range f.studies {
		n.of[study] = false
	}
	n.list.WriteString("copy,report\n")
	err = a.fill(f.out, func(dir string) error {
		for i := range batch.Objects {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := n.one(ctx, a, copier, &batch.Objects[i], dir); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return f.tell(a, &n)
}

// tell writes the list and says what became of the files.
func (f *deidentifyFlags) tell(a *app, n *copied) error {
	if f.list != "" {
		if err := writeNew(f.list, []byte(n.list.String())); err != nil {
			return hinted{fmt.Errorf("--list: %w", err), "check that its folder may be written to"}
		}
	}
	if _, err := fmt.Fprintf(a.stdout, "%d copies written to %s, %d texts cleaned, %d statements of texts not in the copies; %d files that are no report, %d reports not copied\n",
		n.written, f.out, n.texts, n.lost, n.other, n.refused); err != nil {
		return err
	}
	missing := 0
	for _, found := range n.of {
		if !found {
			missing++
		}
	}
	if missing > 0 {
		fmt.Fprintf(a.stderr, "of %s of %d named by --study no report was found\n", layout.CountOf(missing, "study", "studies"), len(n.of))
	}
	if n.refused > 0 || n.written == 0 || missing > 0 {
		return outcome(exitIncomplete)
	}
	return nil
}

// one copies a file when it is a report. What keeps a report from being copied is
// said with its place, which the user gave.
func (n *copied) one(ctx context.Context, a *app, copier *deident.Copier, o *intake.Object, dir string) error {
	refuse := func(err error) {
		n.refused++
		fmt.Fprintf(a.stderr, "%s: not copied: %v\n", printable.Line(o.Path), err)
	}
	if o.Reason != "" {
		if n.other++; o.Unreadable {
			n.other--
			refuse(errors.New(o.Reason))
		}
		return nil
	}
	content, err := o.Read(ctx)
	switch {
	case errors.Is(err, intake.ErrNotDICOM), errors.Is(err, intake.ErrEmpty) && !o.Claimed():
		n.other++
		return nil
	case err != nil:
		refuse(err)
		return ctx.Err()
	case !content.Whole():
		n.other++ // an image
		return nil
	}
	file, err := dcm.ReadBytes(content.Bytes)
	if err != nil {
		refuse(err)
		return nil
	}
	defer file.Release()
	if !sr.IsStructuredReport(file.Identity().SOPClassUID) {
		n.other++
		return nil
	}
	if study := file.Dataset.Text(dcm.T(0x0020000D)); len(n.of) > 0 {
		if _, asked := n.of[study]; !asked {
			return nil
		}
		n.of[study] = true
	}
	c, err := copier.Copy(file)
	if err != nil {
		refuse(err)
		return nil
	}
	n.written, n.texts, n.lost = n.written+1, n.texts+c.Masked, n.lost+c.Lost
	name := fmt.Sprintf("%s-%d.dcm", c.Code, n.written)
	fmt.Fprintf(&n.list, "%s,%q\n", name, printable.Line(o.Path))
	return writeNew(filepath.Join(dir, name), c.Bytes)
}

func writeNew(name string, content []byte) error {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
