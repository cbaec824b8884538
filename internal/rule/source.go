package rule

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/fault"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/spelling"
)

// Source is a rule of a rule folder as written, a file or a row of one, with the
// site's change to it if any.
type Source struct {
	Path string // of the rule below the rule folder
	Text []byte // of the file
	File File   // decoded, when it is a rule
	Site bool   // from a site folder

	Linted     bool // known to be free of faults, no site having changed it
	NoExamples bool // the examples of a linted file are not decoded

	page, row string // the file and the row of it, when the rule is one
	changes   *Source
	places    *datafile.Places
}

// identifier is the path without its ending.
func (s *Source) identifier() string { return strings.TrimSuffix(s.Path, ".yaml") }

// Where is the file the rule stands in.
func (s *Source) Where() string { return cmp.Or(s.page, s.Path) }

// owner is the file a YAML path was written in.
func (s *Source) owner(path string) *Source {
	if s.changes == nil {
		return s
	}
	for name := range s.changes.File.Parameters {
		if p := "$.parameters." + name; path == p || strings.HasPrefix(path, p+".") {
			return s.changes
		}
	}
	if path == "$.severity" && s.changes.File.Severity != "" || path == "$.status" && s.changes.File.Status != "" {
		return s.changes
	}
	return s
}

// position finds what is compiled from a YAML path: in the row, in what the
// file says before its rows, there under the short key that spells it out, or
// else the next key around it.
func (s *Source) position(path string) (line, column int, exact bool) {
	for at := path; ; exact = false {
		for _, written := range s.written(at) {
			if line, column = s.placed().Position(written); line > 0 {
				return line, column, at == path
			}
		}
		end := strings.LastIndexAny(at, ".[")
		if end <= 0 {
			return 0, 0, false
		}
		at = at[:end]
	}
}

// placed finds values in the file, of which each row is a part.
func (s *Source) placed() *datafile.Places {
	if s.places == nil {
		s.places = datafile.NewPlaces(s.Where(), s.Text)
	}
	return s.places
}

// written are the places where a value at a YAML path may have been written.
func (s *Source) written(path string) []string {
	paths := []string{path}
	if short, is := strings.CutPrefix(path, "$.relatedArtifact"); is {
		paths = append(paths, "$.sources"+short)
	}
	for from, to := range s.File.spelled() {
		if rest, is := strings.CutPrefix(path, from); is && (rest == "" || strings.ContainsAny(rest[:1], ".[")) {
			paths = append(paths, to+rest)
		}
	}
	if s.row == "" {
		return paths
	}
	var rows []string
	for _, p := range paths {
		rows = append(rows, "$.rows."+s.row+strings.TrimPrefix(p, "$"))
	}
	if path == "$" {
		return rows
	}
	return append(rows, paths...)
}

// Fault places a fault at an offset within the value at a YAML path. A text
// folded over several lines is followed line by line; each line end counts as
// one character, as it does in the decoded text.
func (s *Source) Fault(path string, offset int, message, hint string) error {
	o := s.owner(path)
	line, column, exact := o.position(path)
	if line == 0 {
		return &fault.Error{File: o.Where(), Message: message, Hint: hint}
	}
	if !exact {
		offset = 0
	}
	if offset == 0 {
		return fault.At(o.Where(), o.Text, line, column, message, hint)
	}
	lines := strings.Split(string(o.Text), "\n")
	for line < len(lines) {
		length := len(strings.TrimRight(lines[line-1], " \r")) - (column - 1)
		if offset <= length {
			break
		}
		offset -= length + 1
		column = len(lines[line]) - len(strings.TrimLeft(lines[line], " ")) + 1
		line++
	}
	return fault.At(o.Where(), o.Text, line, column+offset, message, hint)
}

// Unwritten tells of each text that still stands in angle brackets, as the skeleton of
// a new rule has it.
func (s *Source) Unwritten() []error {
	var faults []error
	for _, t := range [][2]string{{"title", s.File.Title}, {"purpose", s.File.Purpose}, {"usage", s.File.Usage}, {"knownLimits", s.File.KnownLimits}, {"message", s.File.Message}} {
		if text := strings.TrimSpace(t[1]); strings.HasPrefix(text, "<") && strings.HasSuffix(text, ">") {
			faults = append(faults, s.Fault("$."+t[0], 0, t[0]+" is still the one of the skeleton", "write the rule's own words, without the angle brackets"))
		}
	}
	return faults
}

// expression turns a fault in an expression into one of the file.
func (s *Source) expression(path string, err error) error {
	e, ok := err.(*expr.Error)
	if !ok {
		return s.Fault(path, 0, err.Error(), "")
	}
	return s.Fault(path, e.Offset, e.Message, e.Hint)
}

// Overlay applies a site's change: parameters, severity and status only, with
// the day it was approved and by which role.
func (s *Source) Overlay(site *Source) []error {
	var faults []error
	f, base := site.File, s.File
	want := base.Identifier + "@" + base.Version
	switch f.DerivedFrom {
	case want:
	case "":
		return []error{site.Fault("$", 0, "a rule of this path is shipped already", "to change it say derivedFrom: \""+want+"\"")}
	default:
		faults = append(faults, site.Fault("$.derivedFrom", 0, fmt.Sprintf("the shipped rule is %s", want), "look at what changed (rules diff), then write derivedFrom: \""+want+"\""))
	}
	if f.ApprovalDate == "" || f.Reviewer == "" {
		faults = append(faults, site.Fault("$.derivedFrom", 0, "a changed rule needs approvalDate and reviewer", "reviewer is a role, not a person: \"quality lead\""))
	}
	for key, set := range overlayForbids(f) {
		if set {
			faults = append(faults, site.Fault("$."+key, 0, key+" cannot be changed by a site", "change parameters, severity or status; or write a rule of your own under another path"))
		}
	}
	for name, p := range f.Parameters {
		old, ok := base.Parameters[name]
		if !ok {
			faults = append(faults, site.Fault("$.parameters."+name, 0, "the shipped rule has no parameter "+name, nearest(name, base.Parameters)))
			continue
		}
		own := *p
		own.Unit = cmp.Or(p.Unit, old.Unit)
		base.Parameters[name] = &own
	}
	if f.Severity != "" {
		s.File.Examples = unheld(base.Examples, base.Severity)
		s.File.Severity = f.Severity
	}
	if f.Status != "" {
		s.File.Status = f.Status
	}
	s.File.DerivedFrom, s.File.ApprovalDate, s.File.Reviewer = f.DerivedFrom, f.ApprovalDate, f.Reviewer
	s.changes, s.Linted = site, false
	return faults
}

// unheld are the examples of a shipped rule without the severity that a site
// replaced: they were written for the other. One that a case gives still counts.
func unheld(examples []Example, replaced string) []Example {
	out := slices.Clone(examples)
	for i := range out {
		if out[i].Severity == replaced {
			out[i].Severity = ""
		}
		if string(finding.SeverityOf(string(out[i].Beyond[beyondSeverity]))) == replaced {
			out[i].Beyond = maps.Clone(out[i].Beyond)
			delete(out[i].Beyond, beyondSeverity)
		}
	}
	return out
}

func overlayForbids(f File) map[string]bool {
	return map[string]bool{
		"title": f.Title != "", "kind": f.Kind != "", "require": f.Require != "", "recompute": f.Recompute != nil, "forbid": f.Forbid != nil, "zScore": f.ZScore != nil, "define": f.Define != nil,
		"review": f.Review != "", "measurands": f.Measurands != nil, "statements": f.Statements != nil, "purpose": f.Purpose != "",
		"usage": f.Usage != "", "message": f.Message != "", "severityIf": f.SeverityIf != nil, "excusedBy": f.ExcusedBy != nil, "version": f.Version != "",
	}
}

func nearest[T any](word string, known map[string]T) string {
	names := make([]string, 0, len(known))
	for n := range known {
		names = append(names, n)
	}
	return suggest(word, names)
}

func suggest(word string, names []string) string {
	if near := spelling.Nearest(word, names); near != "" {
		return "did you mean " + near + "?"
	}
	return ""
}
