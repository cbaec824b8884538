package rule

import (
	"slices"
	"strings"

	"echotally/internal/datafile/written"
)

// Work is a guideline, paper or standard that rules rest on.
type Work struct {
	Label    string
	Citation string // in full
	DOI      string // "" when the files do not have it

	source *Source
}

// Works are the works rules may name, by label.
type Works map[string]*Work

type workFile struct {
	Citation string `yaml:"citation"`
	DOI      string `yaml:"doi"`
}

// UnmarshalYAML takes the citation, or its parts by name.
func (w *workFile) UnmarshalYAML(decode func(any) error) error {
	if shape(decode) != written.Mapping {
		return decode(&w.Citation)
	}
	type plain workFile
	return decode((*plain)(w))
}

// Add adds the works of a file; a work of a known label replaces it.
func (w Works) Add(s *Source) []error {
	var file map[string]workFile
	if err := s.decode(&file); err != nil {
		return []error{err}
	}
	var faults []error
	for _, label := range sortedKeys(file) {
		one := &Work{Label: label, Citation: file[label].Citation, DOI: file[label].DOI, source: s}
		like := (*Work)(nil)
		if !s.Linted {
			like = w.alike(one)
		}
		switch {
		case slices.Contains(plainOrigins, label):
			faults = append(faults, one.fault(label+" is no work", "it needs no entry"))
		case one.Citation == "":
			faults = append(faults, one.fault("a work without its citation", "author, title, journal, year, pages"))
		case like != nil:
			faults = append(faults, one.fault("the same work is listed as "+like.Label, "name it "+like.Label+" everywhere"))
		}
		w[label] = one
	}
	return faults
}

// alike finds a work of another label printed at the same place.
func (w Works) alike(one *Work) *Work {
	for _, label := range sortedKeys(w) {
		other := w[label]
		if label != one.Label && (place(other.Citation) == place(one.Citation) || one.DOI != "" && other.DOI == one.DOI) {
			return other
		}
	}
	return nil
}

// place is the last part of a citation, journal with year and pages, in letters
// and digits only.
func place(citation string) string {
	last := citation[strings.LastIndex(citation, ". ")+1:]
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, strings.ToLower(last))
}

// Unused gives a fault for each work that is not among the labels named.
func (w Works) Unused(named map[string]bool) []error {
	var faults []error
	for _, label := range sortedKeys(w) {
		if !named[label] {
			faults = append(faults, w[label].fault("no rule, relation or protocol names "+label, "take it out"))
		}
	}
	return faults
}

func (w *Work) fault(message, hint string) error {
	return w.source.Fault("$.'"+w.Label+"'", 0, message, hint)
}

// cited gives what stands behind a file with citations in full.
func (w Works) cited(artifacts []Artifact) []Artifact {
	out := slices.Clone(artifacts)
	for i, a := range out {
		work := w[a.Label]
		if work != nil && a.Citation == "" {
			out[i].Citation = work.Citation
		}
		switch {
		case a.Type != "":
		case slices.Contains(plainOrigins, a.Label):
			out[i].Type = "documentation"
		default:
			out[i].Type = "citation"
		}
	}
	return out
}
