package catalogue

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"reflect"
	"slices"
	"sort"
	"strconv"
	"strings"

	"echotally/internal/library"

	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Level is how much a change means to a lab that uses the rule.
type Level int

// Levels, lightest first: words and sources; looser or new; stricter or of
// another meaning.
const (
	None Level = iota
	Patch
	Minor
	Major
)

func (l Level) String() string { return [...]string{"none", "patch", "minor", "major"}[l] }

// Change is what happened to one rule between two sets.
type Change struct {
	Identifier  string
	Level       Level
	What        []string // in words
	Was, Is     string   // versions; "" when the rule was not there
	Proposed    string   // the version the change asks for
	NotDeclared bool     // the version was raised less than the change asks for
}

// Compare lists the rules that differ, by identifier, and the gravest level.
func Compare(was, is *library.Library) ([]Change, Level) {
	before, after := map[string]*rule.Rule{}, map[string]*rule.Rule{}
	for _, r := range All(was) {
		before[r.File.Identifier] = r
	}
	var out []Change
	for _, r := range All(is) {
		id := r.File.Identifier
		after[id] = r
		if before[id] == nil {
			out = append(out, Change{Identifier: id, Level: Minor, What: []string{"new rule"}, Is: r.File.Version, Proposed: r.File.Version})
		}
	}
	for _, r := range All(was) {
		id := r.File.Identifier
		if after[id] == nil {
			out = append(out, Change{Identifier: id, Level: Major, What: []string{"removed"}, Was: r.File.Version})
		} else if c := compareRule(r.File, after[id].File); c.Level > None {
			out = append(out, c)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Identifier < out[j].Identifier })
	worst := None
	for _, c := range out {
		worst = max(worst, c.Level)
	}
	return out, worst
}

func compareRule(was, is rule.File) Change {
	c := Change{Identifier: is.Identifier, Was: was.Version, Is: is.Version}
	note := func(level Level, what string) {
		c.Level = max(c.Level, level)
		c.What = append(c.What, what)
	}
	if was.Severity != is.Severity {
		level := Minor
		if finding.Severity(is.Severity).Rank() > finding.Severity(was.Severity).Rank() {
			level = Major
		}
		note(level, "severity "+finding.Severity(was.Severity).Word()+" to "+finding.Severity(is.Severity).Word())
	}
	if was.Status != is.Status {
		level := Minor
		if was.Status == "active" {
			level = Major
		}
		note(level, "status "+was.Status+" to "+is.Status)
	}
	if !reflect.DeepEqual(was.ExcusedBy, is.ExcusedBy) {
		level := Minor
		if !containsAll(is.ExcusedBy, was.ExcusedBy) {
			level = Major
		}
		note(level, "excused by other statements")
	}
	compareParameters(was, is, note)
	for _, part := range meaning(was, is) {
		if part.differs {
			note(Major, part.name)
		}
	}
	for _, part := range words(was, is) {
		if part.differs {
			note(Patch, part.name)
		}
	}
	c.Proposed = raise(was.Version, c.Level)
	c.NotDeclared = c.Level > None && levelBetween(was.Version, is.Version) < c.Level
	return c
}

type part struct {
	name    string
	differs bool
}

func differ(name string, a, b any) part { return part{name, !reflect.DeepEqual(a, b)} }

// meaning lists the parts whose change cannot be shown to be harmless.
func meaning(was, is rule.File) []part {
	return []part{
		differ("kind", was.Kind, is.Kind), differ("for whom it is", was.AppliesTo, is.AppliesTo),
		differ("measurands", was.Measurands, is.Measurands), differ("statements", was.Statements, is.Statements),
		differ("images", was.Images, is.Images),
		differ("what must hold", was.Require, is.Require), differ("what is recomputed", was.Recompute, is.Recompute),
		differ("what is forbidden", was.Forbid, is.Forbid), differ("z-scores", was.ZScore, is.ZScore), differ("when a person must look", was.Review, is.Review),
		differ("severity by case", was.SeverityIf, is.SeverityIf),
		differ("what its names stand for", was.Define, is.Define), differ("of what it is demanded", was.Each, is.Each),
		differ("the order of values", was.Ascending, is.Ascending), differ("what is possible", boundsAlone(was.Possible), boundsAlone(is.Possible)),
		differ("what is usual", boundsAlone(was.Usual), boundsAlone(is.Usual)), differ("what must be there", was.Present, is.Present),
		differ("what is computed", computedAlone(was.Computed), computedAlone(is.Computed)),
		differ("whom it is told", [2]bool{was.PerLab, was.OpenPerLab}, [2]bool{is.PerLab, is.OpenPerLab}),
	}
}

// boundsAlone and computedAlone leave out the numbers, which stand among the
// parameters as well and are compared there, words apart, and what only the
// examples are made of.
func boundsAlone(b *rule.Bounds) *rule.Bounds {
	if b == nil {
		return nil
	}
	return &rule.Bounds{Value: b.Value}
}

func computedAlone(c *rule.Computed) *rule.Computed {
	if c == nil {
		return nil
	}
	return &rule.Computed{Value: c.Value, From: c.From, Declared: c.Declared}
}

// casesAlone are the cases without where each is from.
func casesAlone(cases []rule.CaseAsWritten) []rule.CaseAsWritten {
	out := slices.Clone(cases)
	for i := range out {
		out[i].Origin = ""
	}
	return out
}

func words(was, is rule.File) []part {
	return []part{
		differ("title", was.Title, is.Title), differ("purpose", was.Purpose, is.Purpose), differ("usage", was.Usage, is.Usage),
		differ("known limits", was.KnownLimits, is.KnownLimits), differ("sources", was.RelatedArtifact, is.RelatedArtifact),
		differ("message", was.Message, is.Message), differ("where to get it", was.Obtain, is.Obtain), differ("examples", was.Examples, is.Examples),
	}
}

// compareParameters knows one direction: a larger allowance is looser. Every
// other changed number may make the rule stricter for somebody.
func compareParameters(was, is rule.File, note func(Level, string)) {
	for _, name := range slices.Sorted(maps.Keys(is.Parameters)) {
		p := is.Parameters[name]
		old, ok := was.Parameters[name]
		switch {
		case !ok:
			note(Major, "new number "+name)
		case p.Value != old.Value || p.Unit != old.Unit || !reflect.DeepEqual(casesAlone(p.Cases), casesAlone(old.Cases)):
			level := Major
			if looser(was, is, name) {
				level = Minor
			}
			note(level, fmt.Sprintf("%s %s %s to %s %s", name, old.Value, old.Unit, p.Value, p.Unit))
		case p.Origin != old.Origin || p.Documentation != old.Documentation || !reflect.DeepEqual(p.Cases, old.Cases):
			note(Patch, "words about "+name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(was.Parameters)) {
		if _, ok := is.Parameters[name]; !ok {
			note(Major, "number "+name+" gone")
		}
	}
}

func looser(was, is rule.File, name string) bool {
	if is.Recompute == nil || is.Recompute.Allowance != name || was.Parameters[name].Unit != is.Parameters[name].Unit {
		return false
	}
	old, err := strconv.ParseFloat(string(was.Parameters[name].Value), 64)
	if err != nil {
		return false
	}
	now, err := strconv.ParseFloat(string(is.Parameters[name].Value), 64)
	return err == nil && now > old && len(is.Parameters[name].Cases)+len(was.Parameters[name].Cases) == 0
}

func containsAll(set, subset rule.Names) bool {
	return !slices.ContainsFunc(subset, func(s string) bool { return !slices.Contains(set, s) })
}

// raise proposes the next version for a change of a level.
func raise(version string, level Level) string {
	n := numbers(version)
	switch level {
	case Patch:
		n[2]++
	case Minor:
		n[1], n[2] = n[1]+1, 0
	case Major:
		n[0], n[1], n[2] = n[0]+1, 0, 0
	}
	return fmt.Sprintf("%d.%d.%d", n[0], n[1], n[2])
}

// levelBetween is the level that a change of version declares.
func levelBetween(was, is string) Level {
	a, b := numbers(was), numbers(is)
	for i, level := range []Level{Major, Minor, Patch} {
		if b[i] != a[i] {
			if b[i] > a[i] {
				return level
			}
			return None
		}
	}
	return None
}

func numbers(version string) [3]int {
	var out [3]int
	for i, part := range strings.SplitN(version, ".", 3) {
		// A part that is no number counts as 0; lint has complained already.
		out[i], _ = strconv.Atoi(part)
	}
	return out
}

// WriteChanges writes the comparison as text.
func WriteChanges(w io.Writer, changes []Change, worst Level) error {
	b := bufio.NewWriter(w)
	for _, c := range changes {
		fmt.Fprintf(b, "%-6s %s", c.Level, c.Identifier)
		switch {
		case c.Was == "":
			fmt.Fprintf(b, " %s\n", c.Is)
		case c.Is == "":
			fmt.Fprintf(b, " %s\n", c.Was)
		default:
			fmt.Fprintf(b, " %s to %s\n", c.Was, c.Is)
		}
		wrap(b, "       ", strings.Join(c.What, "; "))
		if c.NotDeclared {
			fmt.Fprintf(b, "       the version should be %s\n", c.Proposed)
		}
	}
	fmt.Fprintf(b, "rules that differ: %d; the change of the set is: %s\n", len(changes), worst)
	return b.Flush()
}
