// Package layer owns what the files of one layer of a rule library are, by the folders
// they lie in, and reads them.
package layer

import (
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"sort"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/rule"
)

// Folders of the rule tree that hold no rules.
var otherFolders = []string{"cases", "measurand", "phrases", "protocol", "reference", "relation", "requirements", "review", "schema"}

// loose are the files that lie in no folder.
var loose = []string{"abbreviations.yaml", "mistakes.yaml", "scanners.yaml", "terms.yaml", Works}

// Works is the file that holds each work that rules rest on once.
const Works = "sources.yaml"

// Files lists, sorted, the data files of a layer.
func Files(layer fs.FS) ([]string, error) {
	var out []string
	err := fs.WalkDir(layer, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("rule folder: %w", err)
		}
		if !d.IsDir() && path.Ext(name) == ".yaml" {
			out = append(out, name)
		}
		return nil
	})
	sort.Strings(out)
	return out, err
}

// IsRule tells a rule file from the other files of a layer by its folder.
func IsRule(name string) bool {
	folder, _, inFolder := strings.Cut(name, "/")
	return inFolder && !slices.Contains(otherFolders, folder)
}

// ForReading tells the files by which reports are read, or that are compared one
// by one: they change nothing in how a study that was read is judged.
func ForReading(name string) bool {
	switch folder, _, _ := strings.Cut(name, "/"); folder {
	case "measurand", "protocol", "cases", "relation", "requirements", "review", "abbreviations.yaml", "scanners.yaml", Works:
		return true
	case "phrases":
		return name != "phrases/coded.yaml"
	}
	return false
}

// Source is one file of a layer, and what reading it came to.
type Source struct {
	*rule.Source
	Rules []*rule.Source // that it holds
	Err   error          // it cannot be read or is no rule file
}

// Reading says how the files of a layer are read.
type Reading struct {
	Site       bool // the layer is a site's own
	NoRules    bool // of rule files only the text is wanted
	NoExamples bool // the examples of rules that were linted before are not read
}

// Read reads one file.
func (r Reading) Read(files fs.FS, name string) *Source {
	s := &Source{Source: &rule.Source{Path: name, Site: r.Site, Linted: datafile.Linted(files) && !r.Site}}
	s.NoExamples = s.Linted && r.NoExamples
	if s.Text, s.Err = bound.ReadFile(files, name); s.Err != nil {
		s.Err = fmt.Errorf("rule file %s: %w", name, s.Err)
	} else if IsRule(name) && !r.NoRules {
		s.Rules, s.Err = s.Source.Read()
	}
	return s
}

// Structures lists, sorted, the anatomic structures that have rules in any of the layers.
func Structures(layers ...fs.FS) ([]string, error) {
	seen := map[string]bool{}
	for _, layer := range layers {
		names, err := Files(layer)
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			if IsRule(name) {
				structure, _, _ := strings.Cut(name, "/")
				seen[structure] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(seen)), nil
}

// HoldsRules reports whether a folder of that name may hold rules.
func HoldsRules(folder string) bool { return IsRule(folder + "/x.yaml") }

// Stray reports whether a file lies in no folder and is none of those that may.
func Stray(name string) bool {
	return !strings.Contains(name, "/") && !slices.Contains(loose, name)
}
