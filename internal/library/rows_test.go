package library_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/datafile/fault"
	"echotally/internal/library"
	"echotally/internal/rule"
)

const page = "tricuspid-valve/possible.yaml"

const rowsFile = `title: "{name} is possible"
kind: consistency
severity: error
version: "1.0.0"
purpose: Why.
usage: What to do.
sources: [common practice]
origin: site choice
appliesTo: {age: {low: 18 years}}
measurands: {other: annulus}
possible:
  to: {documentation: More than anybody has.}
message: "{name} {x}; possible is {low} to {high}."
rows:
  velocity-possible:
    name: Velocity
    possible: {value: tr-velocity, from: 1.0 m/s, to: 6.5 m/s, ordinary: 2.5 m/s, slip: 250 m/s}
  pressure-possible:
    name: Pressure
    version: "1.2.0"
    severity: warning
    possible: {value: ra-pressure, from: 0 mmHg, to: 40 mmHg, ordinary: 8 mmHg}
  diameter-possible:
    name: Diameter
    appliesTo: {age: any, when: present(x) and present(other)}
    possible: {value: annulus, from: 15 mm, to: 75 mm}
    examples:
      - {title: ordinary, given: {x: 33 mm, other: 33 mm}, outcome: pass, beyond: {x: 76 mm, outcome: fail}}
      - {title: nothing there, outcome: notApplicable}
      - {title: cannot tell, outcome: open}
`

// withRows is the valid folder and a file of rows, changed in one place.
func withRows(t *testing.T, old, new string) fstest.MapFS {
	t.Helper()
	if !strings.Contains(rowsFile, old) {
		t.Fatalf("the file of rows does not hold %q", old)
	}
	out := files()
	out[page] = &fstest.MapFile{Data: []byte(strings.Replace(rowsFile, old, new, 1))}
	return out
}

func loaded(t *testing.T, layers ...fstest.MapFS) map[string]*rule.Rule {
	t.Helper()
	set, err := library.Load(library.Settings{}, layers[0])
	if len(layers) > 1 {
		set, err = library.Load(library.Settings{}, layers[0], layers[1])
	}
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*rule.Rule{}
	for _, r := range set.Rules {
		out[r.File.Identifier] = r
	}
	return out
}

func TestARowIsARule(t *testing.T) {
	rules := loaded(t, withRows(t, "", ""))
	v, p, d := rules["tricuspid-valve/velocity-possible"], rules["tricuspid-valve/pressure-possible"], rules["tricuspid-valve/diameter-possible"]
	if len(rules) != 4 || v == nil || p == nil || d == nil {
		t.Fatalf("loaded %d rules: %v", len(rules), rules)
	}
	if v.File.Title != "Velocity is possible" || v.File.Message != "Velocity {x}; possible is {low} to {high}." || v.File.Version != "1.0.0" || v.Severity != "error" {
		t.Errorf("%+v", v.File)
	}
	if p.File.Version != "1.2.0" || p.Severity != "warning" || p.Parameters["high"].Unit.Code() != "mm[Hg]" || p.File.Parameters["high"].Documentation != "More than anybody has." || p.File.Parameters["high"].Origin != "site choice" {
		t.Errorf("%+v", p.File)
	}
	if d.Age.Low != nil || *v.Age.Low != 18 || len(v.Aliases) != 1 || len(d.Aliases) != 2 {
		t.Errorf("ages %v and %v, names %v and %v", d.Age, v.Age, v.Aliases, d.Aliases)
	}
	if alias, low, high, ok := v.Bounds(); !ok || alias != "x" || v.Parameters[low].Value.Text() != "1.0" || v.Parameters[high].Value.Text() != "6.5" {
		t.Errorf("bounds %s %s %s %t", alias, low, high, ok)
	}
	other := loaded(t, withRows(t, "to: 6.5 m/s", "to: 6.6 m/s"))
	if other["tricuspid-valve/velocity-possible"].Digest() == v.Digest() || other["tricuspid-valve/pressure-possible"].Digest() != p.Digest() {
		t.Error("a change of one row is a change of that rule alone")
	}
}

func TestASiteChangesARow(t *testing.T) {
	const change = "derivedFrom: \"tricuspid-valve/pressure-possible@1.2.0\"\napprovalDate: \"2026-01-31\"\nreviewer: quality lead\nparameters: {high: {value: 30, origin: site choice}}\n"
	rules := loaded(t, withRows(t, "", ""), fstest.MapFS{"tricuspid-valve/pressure-possible.yaml": {Data: []byte(change)}})
	p := rules["tricuspid-valve/pressure-possible"]
	if !p.Site || p.Parameters["high"].Value.Text() != "30" || rules["tricuspid-valve/velocity-possible"].Site {
		t.Errorf("%+v", p.Parameters["high"])
	}
}

func TestFaultsOfARowAreFoundWhereTheyStand(t *testing.T) {
	for _, c := range []struct{ name, old, new, source, message string }{
		{"in the row", "value: tr-velocity", "value: tr-velocty", "value: tr-velocty", "unknown measurand tr-velocty"},
		{"in what is shared", "origin: site choice", "origin: Nobody 1900", "from:", "unknown origin Nobody 1900"},
		{"of the row itself", "    severity: warning\n", "    severity: grave\n", "severity: grave", "not known"},
		{"of the shared words", "{low} to", "{lo} to", "message:", "unknown name lo"},
		{"a number without an origin", "origin: site choice\n", "", "from:", "without an origin"},
		{"a unit nobody knows", "from: 0 mmHg", "from: 0 mmhg", "from: 0 mmhg", "mmhg"},
		{"two demands", "    name: Velocity", "    present: annulus\n    name: Velocity", "", "demands one thing"},
		{"a name no row uses", "measurands: {other", "measurands: {spare: annulus, other", "spare:", "no row uses spare"},
		{"a rule among rows", "kind: consistency", "identifier: tricuspid-valve/possible\nkind: consistency", "identifier:", "no rule itself"},
		{"an empty row", "rows:\n", "rows:\n  nothing-possible:\n", "nothing-possible:", "says what differs"},
		{"twice", "velocity-possible:", "pressure:", "", "as well"},
		{"an example beyond of a name nobody knows", "beyond: {x: 76", "beyond: {y: 76", "beyond:", "unknown alias y"},
	} {
		t.Run(c.name, func(t *testing.T) {
			found := library.Lint(library.Settings{}, withRows(t, c.old, c.new))
			if !slices.ContainsFunc(found, func(err error) bool {
				var fault *fault.Error
				return errors.As(err, &fault) && fault.Line > 0 && strings.Contains(fault.Source, c.source) && strings.Contains(fault.Message, c.message)
			}) {
				t.Errorf("want a fault at %q saying %q, got:\n%v", c.source, c.message, errors.Join(found...))
			}
		})
	}
}
