package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"echotally/internal/library"
	"echotally/internal/library/layer"
	"echotally/internal/spelling"

	"github.com/spf13/cobra"

	"echotally/internal/catalogue"
	"echotally/rules"
)

// The commands with which a lab makes rules its own: new, export, diff.

func newRulesNewCommand(a *app) *cobra.Command {
	var dir string
	cmd := &cobra.Command{
		Use:   "new ID",
		Short: "Write the skeleton of a new rule",
		Long: `Write a draft rule to fill in. ID is the path without .yaml: the anatomic
structure, a slash, the name. For a structure that no rule has yet, make its folder
first. What stands between angle brackets is to be written: until then rules lint
refuses the rule.`,
		Example: "  echotally rules new tricuspid-valve/annulus-noted --dir our-lab\n  echotally rules lint --rules our-lab\n  echotally rules test tricuspid-valve/annulus-noted --rules our-lab",
		Args:    arguments(1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			text, err := catalogue.Skeleton(args[0])
			if err != nil {
				return faults{hinted{err, "for example tricuspid-valve/annulus-noted"}}
			}
			if err := a.knownStructure(dir, path.Dir(args[0])); err != nil {
				return err
			}
			file := filepath.Join(dir, filepath.FromSlash(args[0])+".yaml")
			if _, err := os.Stat(file); err == nil {
				return faults{hinted{fmt.Errorf("%s is there already", file), "choose another name, or edit that file"}}
			}
			if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), a.write(file, newFile, func(w io.Writer) error { _, err := io.WriteString(w, text); return err })); err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.stdout, "%s written; fill it in, then: echotally rules lint --rules %s\n", file, dir)
			return err
		},
	}
	cmd.Flags().StringVar(&dir, "dir", ".", "site folder to write to")
	return cmd
}

// knownStructure refuses a structure that has neither rules nor a folder: it is a slip
// more often than not.
func (a *app) knownStructure(dir, structure string) error {
	if !layer.HoldsRules(structure) {
		return faults{hinted{fmt.Errorf("the folder %s holds no rules", structure), "echotally rules list shows the structures there are"}}
	}
	folder := filepath.Join(dir, structure)
	if info, err := os.Stat(folder); err == nil && info.IsDir() {
		return nil
	}
	layers, err := a.layers()
	if err != nil {
		return err
	}
	known, err := layer.Structures(layers...)
	if err != nil || slices.Contains(known, structure) {
		return err
	}
	hint := "for one of your own make the folder " + folder + " first"
	if near := spelling.Nearest(structure, known); near != "" {
		hint = "did you mean " + near + "? Or " + hint
	} else {
		hint += "; there are " + strings.Join(known, ", ")
	}
	return faults{hinted{fmt.Errorf("no rule is of structure %q", structure), hint}}
}

func newRulesExportCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "export DIR",
		Short:   "Write the shipped files to a folder",
		Long:    "Write the shipped rule, measurand and phrase files to an empty folder, to read\nor to compare with a later release.",
		Example: "  echotally rules export rules-of-today\n  echotally rules diff rules-of-today shipped",
		Args:    arguments(1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			n := 0
			err := a.fill(args[0], func(dir string) (err error) {
				n, err = export(dir)
				return err
			})
			if err != nil {
				return fmt.Errorf("export: %w", err)
			}
			_, err = fmt.Fprintf(a.stdout, "%d files written to %s\n", n, args[0])
			return err
		},
	}
}

// export copies the data files, leaving out the Go source that embeds them.
func export(dir string) (int, error) {
	n := 0
	err := fs.WalkDir(rules.FS, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || path.Ext(name) == ".go" {
			return err
		}
		content, err := fs.ReadFile(rules.FS, name)
		if err != nil {
			return err
		}
		n++
		file := filepath.Join(dir, filepath.FromSlash(name))
		return errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, content, 0o644))
	})
	return n, err
}

func newRulesDiffCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "diff OLD NEW",
		Short: "Say what changed between two rule sets",
		Long: `Compare two rule sets rule by rule and propose the versions: patch for words and
sources, minor for a new or looser rule, major for one that is stricter, gone or
of another meaning. OLD and NEW are folders as written by export, site folders,
or the word shipped.`,
		Example: "  echotally rules diff shipped our-lab\n  echotally rules diff rules-of-last-year shipped",
		Args:    arguments(2, 2),
		RunE: func(_ *cobra.Command, args []string) error {
			was, err := a.setAt(args[0])
			if err != nil {
				return err
			}
			is, err := a.setAt(args[1])
			if err != nil {
				return err
			}
			changes, worst := catalogue.Compare(was, is)
			return catalogue.WriteChanges(a.stdout, changes, worst)
		},
	}
}

// setAt loads the rule set at a folder: a whole one stands alone, a site folder
// lies over the shipped files.
func (a *app) setAt(where string) (*library.Library, error) {
	layers := []fs.FS{rules.FS}
	if where != "shipped" {
		dir := os.DirFS(where)
		if info, err := os.Stat(where); err != nil || !info.IsDir() {
			return nil, faults{hinted{fmt.Errorf("%s: not a folder", where), "give a folder, or the word shipped"}}
		}
		if wholeSet(dir) {
			layers = nil
		}
		layers = append(layers, dir)
	}
	set, err := library.Load(library.Settings{}, layers...)
	if err != nil {
		return nil, faults{fmt.Errorf("%s: %w", where, err)}
	}
	return set, nil
}

// wholeSet tells an exported set from a site folder: both files are there only
// when all were exported.
func wholeSet(dir fs.FS) bool {
	_, terms := fs.Stat(dir, "terms.yaml")
	_, phrases := fs.Stat(dir, "phrases/coded.yaml")
	return terms == nil && phrases == nil
}
