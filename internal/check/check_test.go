package check_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"echotally/internal/library"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/ucum"
)

var catalogues = map[string]string{
	"terms.yaml": `window:
  parasternal: {title: Parasternal, place: 1}
  apical: {title: Apical, place: 2}
imageView:
  apical-four-chamber: {code: "SCT:399214001", title: Apical four-chamber, window: apical}
  rv-inflow: {code: "SCT:443082005", title: RV inflow, window: parasternal}
  short-axis: {code: "SCT:399306005", title: Short axis, window: parasternal}
derivation:
  mean: {code: "SCT:373098007", title: Mean, beats: several}
selectionStatus:
  user-chosen: {code: "DCM:121410", title: User chosen value}
`,
	"measurand/right-heart.yaml": `- {identifier: tr-velocity, title: TR velocity, unit: m/s, counts: highest, obtain: {window: apical, view: four-chamber, how: continuous wave}, codings: [{conceptName: "LN:11726-7", source: test}]}
- {identifier: ra-pressure, title: RA pressure, unit: "mm[Hg]", codings: [{conceptName: "LN:18070-3", source: test}]}
- {identifier: rv-pressure, title: RV pressure, unit: "mm[Hg]", codings: [{conceptName: "LN:79917-1", source: test}]}
- {identifier: pa-pressure, title: PA pressure, unit: "mm[Hg]", codings: [{conceptName: "LN:79918-9", source: test}]}
- {identifier: annulus, title: Annulus, unit: mm, counts: mean, codings: [{conceptName: "LN:79919-7", source: test}]}
`,
	"phrases/coded.yaml": `- {identifier: atrial-fibrillation, title: Atrial fibrillation, group: rhythm}
- {identifier: sinus-rhythm, title: Sinus rhythm, group: rhythm}
- {identifier: no-jet, title: No TR jet}
- {identifier: full-study, title: Comprehensive study}
`,
	"protocol/comprehensive.yaml": `identifier: comprehensive
title: Comprehensive
base: true
declaredBy: [full-study]
because: [{when: "count_measurands() >= many", words: "{count_measurands()} quantities, full from {many}"}]
parameters: {many: {value: 3, origin: site choice}}
order: 2
`,
	"protocol/limited.yaml": "identifier: limited\ntitle: Limited\nbase: true\nbecause: [{when: \"count_measurands() >= 1\", words: \"{count_measurands()} quantities\"}]\norder: 3\n",
	"protocol/fast-jet.yaml": `identifier: fast-jet
title: Fast jet
because:
  - {when: "tr > fast", words: "jet {tr}, fast above {fast}"}
  - {when: "mentioned(named)", words: "the record says"}
unless: [sinus-rhythm]
measurands: {tr: tr-velocity}
statements: {named: atrial-fibrillation}
parameters: {fast: {value: 2.8, unit: m/s, origin: site choice}}
`,
}

// load compiles one draft rule with the given body; the head is the same for
// all.
func load(t testing.TB, kind, body string) *library.Library {
	t.Helper()
	head := "identifier: test/rule\nversion: \"1.0.0\"\ntitle: A rule\nstatus: draft\nkind: " + kind +
		"\nseverity: warning\npurpose: Why.\nusage: What.\nrelatedArtifact: [{type: documentation, label: common practice}]\n"
	files := fstest.MapFS{"test/rule.yaml": {Data: []byte(head + body)}}
	for name, text := range catalogues {
		files[name] = &fstest.MapFile{Data: []byte(text)}
	}
	set, err := library.Load(library.Settings{Drafts: true}, files)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

// option changes a measurement under construction.
type option func(*echo.Measurement)

func mark(field func(*echo.Measurement) **echo.Modifier, scheme, value string) option {
	return func(m *echo.Measurement) {
		*field(m) = &echo.Modifier{Concept: coding.CodedConcept{CodeValue: value, CodingSchemeDesignator: scheme}}
	}
}

func view(code string) option {
	return mark(func(m *echo.Measurement) **echo.Modifier { return &m.Modifiers.ImageView }, "SCT", code)
}

var (
	fourChamber = view("399214001")
	rvInflow    = view("443082005")
	shortAxis   = view("399306005")
	isMean      = mark(func(m *echo.Measurement) **echo.Modifier { return &m.Modifiers.Derivation }, "SCT", "373098007")
	isSelected  = mark(func(m *echo.Measurement) **echo.Modifier { return &m.Modifiers.SelectionStatus }, "DCM", "121410")
)

func group(g string) option { return func(m *echo.Measurement) { m.Group = g } }

// measured builds a measurement of a quantity in its canonical or another unit.
func measured(t testing.TB, measurand, value string, options ...option) echo.Measurement {
	t.Helper()
	canonical := map[string]string{"tr-velocity": "m/s", "annulus": "mm"}[measurand]
	if canonical == "" {
		canonical = "mm[Hg]"
	}
	number, unit, _ := strings.Cut(value, " ")
	d, _, err := ucum.ParseDecimal(number)
	if err != nil {
		t.Fatal(err)
	}
	u, err := ucum.Parse(unit)
	if err != nil {
		t.Fatal(err)
	}
	to, err := ucum.Parse(canonical)
	if err != nil {
		t.Fatal(err)
	}
	q := ucum.Quantity{Value: d, Unit: u}
	c, err := q.To(to)
	if err != nil {
		t.Fatal(err)
	}
	m := echo.Measurement{Measurand: measurand, Role: echo.Result, ValueText: number, Quantity: &q, Canonical: &c, ConceptName: coding.CodedConcept{CodeValue: "1", CodingSchemeDesignator: "99X", CodeMeaning: measurand}}
	for _, o := range options {
		o(&m)
	}
	return m
}

func study(measurements ...echo.Measurement) *echo.Study {
	age := 60.0
	s := &echo.Study{Subject: echo.Subject{PatientSex: "F", AgeYears: &age}, Measurements: measurements}
	for i := range s.Measurements {
		s.Measurements[i].Source = echo.Source{SOPInstanceUID: "2.25.1", Item: fmt.Sprintf("1.%d", i+1)}
	}
	return s
}

func states(s *echo.Study, identifiers ...string) *echo.Study {
	for _, id := range identifiers {
		st := echo.Statement{Identifier: strings.TrimPrefix(id, "not "), Negated: strings.HasPrefix(id, "not "), Quote: "“" + id + "”"}
		s.Statements = append(s.Statements, st)
	}
	return s
}

func outcome(set *library.Library, s *echo.Study) finding.Result {
	_, results := put(set, s)
	return results[0]
}

const relation = `measurands: {tr: tr-velocity, rap: ra-pressure, rvsp: rv-pressure}
recompute:
  stated: rvsp
  from:
    - {title: with atrial pressure, value: "peak_gradient(tr) + rap"}
    - {title: without, value: "peak_gradient(tr)"}
`

// 4 × 2.8² + 8 = 39.36 mmHg; 2.8 stands for 2.75 to 2.85 and 8 for 7.5 to 8.5,
// so 37.75 to 40.99 can be reached, and 37 to 41 as written in whole mmHg
// (37 would be 37.5 at most and cannot).
func TestRecomputeWithinTheRoundingOfWhatIsWritten(t *testing.T) {
	set := load(t, "consistency", relation)
	for value, want := range map[string]finding.Outcome{
		"39": finding.Pass, "38": finding.Pass, "41": finding.Pass, "37": finding.Fail, "42": finding.Fail,
		"41.0": finding.Pass, "41.1": finding.Fail, "37.7": finding.Pass, "37.6": finding.Fail,
		"31": finding.Pass, // the second form, pressure left out: 30.25 to 32.49
		"30": finding.Pass, "32": finding.Pass, "29": finding.Fail, "33": finding.Fail,
	} {
		got := outcome(set, study(measured(t, "tr-velocity", "2.8 m/s"), measured(t, "ra-pressure", "8 mm[Hg]"), measured(t, "rv-pressure", value+" mm[Hg]")))
		if got.Outcome != want {
			t.Errorf("RVSP %s: %s (%s), want %s", value, got.Outcome, got.Message, want)
		}
	}
}

func TestRecomputeSaysWhichFormAndShowsTheArithmetic(t *testing.T) {
	set := load(t, "consistency", relation)
	s := study(measured(t, "tr-velocity", "280 cm/s"), measured(t, "ra-pressure", "8 mm[Hg]"), measured(t, "rv-pressure", "31 mm[Hg]"))
	if got := outcome(set, s); got.Variant != "without" {
		t.Errorf("variant %q", got.Variant)
	}
	s = study(measured(t, "tr-velocity", "2.8 m/s"), measured(t, "ra-pressure", "8 mm[Hg]"), measured(t, "rv-pressure", "54 mm[Hg]"))
	got := outcome(set, s)
	if want := "54 mmHg stated, but 4 × 2.8² + 8 mmHg = 39.4 mmHg"; got.Message != want {
		t.Errorf("message %q, want %q", got.Message, want)
	}
	if len(got.Evidence) != 3 || got.Evidence[0].Alias != "rvsp" || got.Measurands[0] != "rv-pressure" {
		t.Errorf("evidence %+v", got.Evidence)
	}
}

// A scanner computes in single precision from unrounded inputs and sends every
// digit; the half-step of such a text is no measure of its error.
func TestRecomputeAcceptsSinglePrecision(t *testing.T) {
	set := load(t, "consistency", relation)
	tr := float32(2.8372)
	rvsp := 4*tr*tr + 8
	s := study(measured(t, "tr-velocity", fmt.Sprintf("%.16g m/s", float64(tr))), measured(t, "ra-pressure", "8.0000000000000000 mm[Hg]"), measured(t, "rv-pressure", fmt.Sprintf("%.16g mm[Hg]", float64(rvsp))))
	if got := outcome(set, s); got.Outcome != finding.Pass || got.Variant != "with atrial pressure" {
		t.Errorf("%s: %s", got.Outcome, got.Message)
	}
}

func TestRecomputeTakesTheInputOfTheSameGroup(t *testing.T) {
	set := load(t, "consistency", relation)
	s := study(
		measured(t, "tr-velocity", "3.4 m/s", group("1.2")), measured(t, "tr-velocity", "2.8 m/s", group("1.3")),
		measured(t, "ra-pressure", "8 mm[Hg]", group("1.4")), measured(t, "rv-pressure", "39 mm[Hg]", group("1.3")))
	got := outcome(set, s)
	if got.Outcome != finding.Pass {
		t.Errorf("%s: %s", got.Outcome, got.Message)
	}
	if i := slices.IndexFunc(got.Evidence, func(e finding.Evidence) bool { return e.Alias == "tr" }); got.Evidence[i].Measurement.ValueText != "2.8" {
		t.Error("the value that was used is not the first evidence")
	}
}

// What stands in another container is another reading, though it would fit.
func TestRecomputeStaysInTheContainerOfTheResult(t *testing.T) {
	set := load(t, "consistency", relation)
	s := study(
		measured(t, "tr-velocity", "3.4 m/s", group("1.2")), measured(t, "tr-velocity", "2.8 m/s", group("1.3")),
		measured(t, "ra-pressure", "8 mm[Hg]", group("1.4")), measured(t, "rv-pressure", "54 mm[Hg]", group("1.3")))
	if got := outcome(set, s); got.Outcome != finding.Fail {
		t.Errorf("%s: %s", got.Outcome, got.Message)
	}
}

// What the value of a window that does not count gives may have been right when it
// was computed: it fails, but is no error.
func TestRecomputeFromAnotherWindowIsNoError(t *testing.T) {
	set := load(t, "consistency", relation+"severityIf: [{when: present(tr), severity: error}]\n")
	for rvsp, want := range map[string]finding.Severity{"39": finding.Warning, "90": finding.Error} {
		got := outcome(set, study(measured(t, "tr-velocity", "2.8 m/s", fourChamber), measured(t, "tr-velocity", "3.4 m/s", rvInflow),
			measured(t, "ra-pressure", "8 mm[Hg]"), measured(t, "rv-pressure", rvsp+" mm[Hg]")))
		if got.Outcome != finding.Fail || got.Severity != want || strings.Contains(got.Message, "another window") != (want == finding.Warning) {
			t.Errorf("RVSP %s: %s as %s (%s), want a failure as %s", rvsp, got.Outcome, got.Severity, got.Message, want)
		}
	}
}

func TestRecomputeOpenAndMissing(t *testing.T) {
	set := load(t, "consistency", relation)
	for name, c := range map[string]struct {
		study   *echo.Study
		missing string
	}{
		"nothing stated": {study(measured(t, "tr-velocity", "2.8 m/s")), "RV pressure: not measured"},
		"no inputs":      {study(measured(t, "rv-pressure", "40 mm[Hg]")), "TR velocity: not measured"},
	} {
		got := outcome(set, c.study)
		if got.Outcome != finding.Open || len(got.Missing) == 0 || !strings.Contains(got.Message, c.missing) {
			t.Errorf("%s: %s %q", name, got.Outcome, got.Message)
		}
	}
}

func TestValueThatCounts(t *testing.T) {
	for _, c := range []struct {
		name, measurand, counts string
		values                  []echo.Measurement
		want, note              string
	}{
		{"highest by the measurand", "tr-velocity", "", []echo.Measurement{measured(t, "tr-velocity", "2.9 m/s"), measured(t, "tr-velocity", "2.7 m/s")}, "2.9", "highest value counts"},
		{"lowest by the rule", "tr-velocity", "lowest", []echo.Measurement{measured(t, "tr-velocity", "2.9 m/s"), measured(t, "tr-velocity", "2.7 m/s"), measured(t, "tr-velocity", "2.8 m/s")}, "2.7", "lowest value counts"},
		{"last when nothing is said", "ra-pressure", "", []echo.Measurement{measured(t, "ra-pressure", "8 mm[Hg]"), measured(t, "ra-pressure", "3 mm[Hg]")}, "3", "last value counts"},
		{"recorded mean before the word", "tr-velocity", "", []echo.Measurement{measured(t, "tr-velocity", "2.9 m/s"), measured(t, "tr-velocity", "2.8 m/s", isMean)}, "2.8", "mean as recorded"},
		{"selected before the mean", "tr-velocity", "", []echo.Measurement{measured(t, "tr-velocity", "2.7 m/s", isSelected), measured(t, "tr-velocity", "2.9 m/s"), measured(t, "tr-velocity", "2.8 m/s", isMean)}, "2.7", "selected in the record"},
		{"only one", "tr-velocity", "", []echo.Measurement{measured(t, "tr-velocity", "2.9 m/s")}, "2.9", ""},
	} {
		alias := c.measurand
		if c.counts != "" {
			alias = "{measurand: " + c.measurand + ", counts: " + c.counts + "}"
		}
		set := load(t, "consistency", "measurands: {x: "+alias+"}\nrequire: \"x > 0\"\n")
		got := outcome(set, study(c.values...)).Evidence
		if len(got) != len(c.values) || got[0].Measurement.ValueText != c.want || got[0].Note != c.note {
			t.Errorf("%s: first evidence %s (%s), want %s (%s)", c.name, got[0].Measurement.ValueText, got[0].Note, c.want, c.note)
		}
	}
}

// truths evaluates an expression over tr (a set), rap and the statement af.
func TestQuestions(t *testing.T) {
	values := []echo.Measurement{
		measured(t, "tr-velocity", "2.9 m/s", fourChamber), measured(t, "tr-velocity", "2.7 m/s", rvInflow), measured(t, "tr-velocity", "2.8 m/s", shortAxis),
		measured(t, "tr-velocity", "2.8 m/s", isMean), measured(t, "tr-velocity", "2.9 m/s", fourChamber, isSelected),
	}
	onlyMean := []echo.Measurement{measured(t, "tr-velocity", "2.8 m/s", isMean)}
	for _, c := range []struct {
		expression string
		values     []echo.Measurement
		want       finding.Outcome
	}{
		{"count(tr) == three", values, finding.Pass},
		{"beats(tr) == three", values, finding.Fail}, // one beat in each of three views
		{"views(tr) == three and windows(tr) == 2", values, finding.Pass},
		{"noted(tr, \"imageView\")", values, finding.Fail},
		{"noted(tr, \"imageView\")", values[:3], finding.Pass},
		{"noted(tr, \"imageView\")", nil, finding.Open},
		{"highest(tr) - lowest(tr) == spread(tr)", values, finding.Pass},
		{"recorded_mean(tr) == average(tr)", values, finding.Pass},
		{"last(tr) < highest(tr)", values, finding.Pass},
		{"tr == highest(tr)", values, finding.Pass},
		{"beats(tr) >= 1", onlyMean, finding.Open},
		{"present(tr) and count(tr) == 0", onlyMean, finding.Pass},
		{"spread(tr) >= 0", values[:1], finding.Open},
		{"recorded_mean(tr) > 0", values[:1], finding.Open},
		{"present(tr)", nil, finding.Fail},
		{"views(tr) >= 2", nil, finding.Fail},
	} {
		body := "measurands: {tr: tr-velocity}\nrequire: '" + c.expression + "'\n"
		if strings.Contains(c.expression, "three") {
			body += "parameters: {three: {value: 3, origin: common practice}}\n"
		}
		set := load(t, "consistency", body)
		if got := outcome(set, study(c.values...)); got.Outcome != c.want {
			t.Errorf("%s over %d values: %s (%s), want %s", c.expression, len(c.values), got.Outcome, got.Message, c.want)
		}
	}
}

func TestStatements(t *testing.T) {
	for _, c := range []struct {
		expression string
		said       []string
		want       finding.Outcome
	}{
		{"stated(af)", []string{"atrial-fibrillation"}, finding.Pass},
		{"stated(af)", []string{"sinus-rhythm"}, finding.Fail},
		{"stated(af)", []string{"not atrial-fibrillation"}, finding.Fail},
		{"stated(af)", nil, finding.Open},
		{"stated(af)", []string{"atrial-fibrillation", "not atrial-fibrillation"}, finding.Open},
		{"mentioned(af)", nil, finding.Fail},
		{"mentioned(af)", []string{"atrial-fibrillation"}, finding.Pass},
		{"mentioned(af)", []string{"not atrial-fibrillation"}, finding.Fail},
		{"not mentioned(af) or stated(af)", nil, finding.Pass},
	} {
		set := load(t, "consistency", "statements: {af: atrial-fibrillation}\nrequire: \""+c.expression+"\"\n")
		if got := outcome(set, states(study(), c.said...)); got.Outcome != c.want {
			t.Errorf("%s with %v: %s (%s), want %s", c.expression, c.said, got.Outcome, got.Message, c.want)
		}
	}
}

func TestWhoARuleIsFor(t *testing.T) {
	old, young := 60.0, 9.0
	body := "appliesTo:\n  age: {low: {value: 18, unit: a}}\n  sex: F\n  stated: [sinus-rhythm]\n  unless: [no-jet]\n  when: \"present(rap)\"\nmeasurands: {tr: tr-velocity, rap: ra-pressure}\nrequire: \"present(tr)\"\n"
	set := load(t, "completeness", body)
	for _, c := range []struct {
		name   string
		change func(*echo.Study)
		want   finding.Outcome
		says   string
	}{
		{"for her", func(*echo.Study) {}, finding.Fail, "missing: TR velocity: not measured"},
		{"a child", func(s *echo.Study) { s.Subject.AgeYears = &young }, finding.NotApplicable, "age"},
		{"age not recorded", func(s *echo.Study) { s.Subject.AgeYears = nil }, finding.Open, "Patient's age: not recorded"},
		{"a man", func(s *echo.Study) { s.Subject.PatientSex = "M" }, finding.NotApplicable, "sex"},
		{"sex not recorded", func(s *echo.Study) { s.Subject.PatientSex = "" }, finding.Open, "Patient's sex: not recorded"},
		{"not in sinus rhythm", func(s *echo.Study) { s.Statements = nil }, finding.NotApplicable, "Sinus rhythm"},
		{"no jet", func(s *echo.Study) { states(s, "no-jet") }, finding.NotApplicable, "no-jet"},
		{"no trigger", func(s *echo.Study) { s.Measurements = nil }, finding.NotApplicable, "RA pressure"},
	} {
		s := states(study(measured(t, "ra-pressure", "8 mm[Hg]")), "sinus-rhythm")
		s.Subject.AgeYears = &old
		c.change(s)
		if got := outcome(set, s); got.Outcome != c.want || !strings.Contains(got.Message, c.says) {
			t.Errorf("%s: %s %q, want %s saying %q", c.name, got.Outcome, got.Message, c.want, c.says)
		}
	}
}

func TestAbsentWithARecordedReason(t *testing.T) {
	set := load(t, "completeness", "measurands: {tr: tr-velocity}\nrequire: \"present(tr)\"\nexcusedBy: [no-jet]\n")
	if got := outcome(set, states(study(), "no-jet")); got.Outcome != finding.Excused || !strings.Contains(got.Message, "no-jet") || got.Evidence[0].Statement == nil {
		t.Errorf("by statement: %+v", got)
	}
	empty := echo.Measurement{Measurand: "tr-velocity", Role: echo.Result, Problems: []echo.Problem{{Kind: echo.NoValue}}}
	if got := outcome(set, study(empty)); got.Outcome != finding.Fail || got.Missing[0].Reason != "no value recorded" {
		t.Errorf("empty without a reason: %+v", got)
	}
	empty.Qualifier = &coding.CodedConcept{CodeValue: "114006", CodingSchemeDesignator: "DCM", CodeMeaning: "Measurement failure"}
	if got := outcome(set, study(empty)); got.Outcome != finding.Excused || !strings.Contains(got.Message, "Measurement failure") {
		t.Errorf("empty with a qualifier: %+v", got)
	}
}

func TestWhyAnInputIsMissing(t *testing.T) {
	set := load(t, "consistency", "measurands: {tr: tr-velocity}\nrequire: \"tr > 0\"\n")
	for want, problem := range map[string]echo.Problem{
		"unit not understood: furlong": {Kind: echo.UnitNotUnderstood, Detail: "furlong"},
		"unit cannot be right: cm":     {Kind: echo.UnitWrongDimension, Detail: "cm"},
		"value is not a number":        {Kind: echo.ValueNotNumber},
		"no value recorded":            {Kind: echo.NoValue},
	} {
		m := echo.Measurement{Measurand: "tr-velocity", Role: echo.Result, Problems: []echo.Problem{problem}}
		got := outcome(set, study(m))
		if got.Outcome != finding.Open || len(got.Missing) != 1 || got.Missing[0].Reason != want || got.Missing[0].Measurand != "tr-velocity" {
			t.Errorf("%v: %s %+v", problem, got.Outcome, got.Missing)
		}
	}
}

func TestWhatDoesNotCount(t *testing.T) {
	set := load(t, "completeness", "measurands: {tr: tr-velocity}\nrequire: \"present(tr)\"\n")
	first := echo.Source{Item: "1.9"}
	for name, change := range map[string]option{
		"superseded": func(m *echo.Measurement) { m.Superseded = true },
		"input":      func(m *echo.Measurement) { m.Role = echo.Input },
		"duplicate":  func(m *echo.Measurement) { m.DuplicateOf = &first },
	} {
		if got := outcome(set, study(measured(t, "tr-velocity", "2.9 m/s", change))); got.Outcome != finding.Fail {
			t.Errorf("%s: %s", name, got.Outcome)
		}
	}
}

func TestAliasNarrowedByModifier(t *testing.T) {
	inflow, any := measured(t, "tr-velocity", "2.9 m/s", rvInflow), measured(t, "tr-velocity", "2.9 m/s")
	for _, c := range []struct {
		choice string
		value  echo.Measurement
		want   finding.Outcome
	}{
		{"rv-inflow", inflow, finding.Pass}, {"apical-four-chamber", inflow, finding.Fail}, {"[apical-four-chamber, rv-inflow]", inflow, finding.Pass},
		{"rv-inflow", any, finding.Fail}, {"absent", any, finding.Pass}, {"absent", inflow, finding.Fail}, {"[rv-inflow, absent]", any, finding.Pass},
	} {
		set := load(t, "completeness", "measurands: {tr: {measurand: tr-velocity, imageView: "+c.choice+"}}\nrequire: \"present(tr)\"\n")
		if got := outcome(set, study(c.value)); got.Outcome != c.want {
			t.Errorf("imageView %s: %s, want %s", c.choice, got.Outcome, c.want)
		}
	}
}

func TestFirstListedMeasurandCounts(t *testing.T) {
	set := load(t, "consistency", "measurands: {p: {measurand: [pa-pressure, rv-pressure]}}\nrequire: \"p < 0\"\nmessage: \"{p}\"\n")
	got := outcome(set, study(measured(t, "pa-pressure", "35 mm[Hg]"), measured(t, "rv-pressure", "50 mm[Hg]")))
	if got.Message != "35 mmHg" {
		t.Errorf("counts %s", got.Message)
	}
	if got = outcome(set, study(measured(t, "rv-pressure", "50 mm[Hg]"))); got.Message != "50 mmHg" {
		t.Errorf("counts %s", got.Message)
	}
}

func TestParameterBySexAgeAndEdition(t *testing.T) {
	body := `measurands: {tr: tr-velocity}
parameters:
  limit:
    unit: m/s
    origin: site choice
    cases:
      - {edition: "2025", value: 9}
      - {sex: F, age: {high: {value: 40, unit: a}}, value: 2.5}
      - {sex: F, value: 2.8}
      - {sex: M, value: 3.0}
require: "tr <= limit"
`
	set := load(t, "consistency", body)
	young, old := 40.0, 41.0
	for _, c := range []struct {
		sex      string
		age      *float64
		edition  string
		tr, want string
	}{
		{"F", &young, "2015", "2.5", "pass"}, {"F", &young, "2015", "2.6", "fail"}, {"F", &old, "2015", "2.8", "pass"}, {"F", &old, "2015", "2.9", "fail"},
		{"M", &old, "2015", "3.0", "pass"}, {"M", &old, "2015", "3.1", "fail"}, {"M", nil, "2015", "3.0", "pass"}, {"F", nil, "2015", "2.6", "open"},
		{"", &old, "2015", "2.6", "open"}, {"O", &old, "2015", "2.6", "open"}, {"", nil, "2025", "8", "pass"},
	} {
		edition := *set
		edition.Edition = c.edition
		s := study(measured(t, "tr-velocity", c.tr+" m/s"))
		s.Subject = echo.Subject{PatientSex: c.sex, AgeYears: c.age}
		if got := outcome(&edition, s); string(got.Outcome) != c.want {
			t.Errorf("%+v: %s (%s)", c, got.Outcome, got.Message)
		}
	}
}

func TestReviewAndSeverity(t *testing.T) {
	set := load(t, "consistency", `measurands: {tr: tr-velocity}
parameters: {high: {value: 3, unit: m/s, origin: site choice}, near: {value: 0.1, unit: m/s, origin: site choice}, far: {value: 4, unit: m/s, origin: site choice}}
require: "tr <= high"
review: "tr > high and tr - high <= near"
severityIf: [{when: "tr > far", severity: error}]
`)
	for value, want := range map[string]string{"3.0": "pass warning", "3.1": "review warning", "3.2": "fail warning", "4.1": "fail error"} {
		got := outcome(set, study(measured(t, "tr-velocity", value+" m/s")))
		if text := string(got.Outcome) + " " + string(got.Severity); text != want {
			t.Errorf("%s m/s: %s, want %s", value, text, want)
		}
	}
}

func TestForbiddenFaultsAreNamed(t *testing.T) {
	bad := measured(t, "tr-velocity", "2.9 m/s")
	bad.Problems = []echo.Problem{{Kind: echo.UnitAlias, Detail: "m/sec"}}
	unknown := measured(t, "tr-velocity", "2.9 m/s")
	unknown.Measurand = ""
	for fault, s := range map[string]*echo.Study{
		"unitAlias": study(bad), "unmatchedCode": study(unknown), "noReason": study(echo.Measurement{Role: echo.Result}),
		"sexNotRecorded": {}, "notVerified": {Documents: []echo.Document{{VerificationFlag: "UNVERIFIED"}}}, "partlyRead": {Documents: []echo.Document{{Partial: true}}},
		"departsFromFormat": {Documents: []echo.Document{{Deviations: []echo.Deviation{{Item: "1.2", Clause: "PS3.3", Detail: "odd"}}}}},
	} {
		set := load(t, "form", "forbid: ["+fault+"]\n")
		if got := outcome(set, s); got.Outcome != finding.Fail || got.Message == "" {
			t.Errorf("%s: %s %q", fault, got.Outcome, got.Message)
		}
		clean := study(measured(t, "tr-velocity", "2.9 m/s"))
		clean.Documents = []echo.Document{{CompletionFlag: "COMPLETE", VerificationFlag: "VERIFIED"}}
		if got := outcome(set, clean); got.Outcome != finding.Pass {
			t.Errorf("%s on a clean study: %s %q", fault, got.Outcome, got.Message)
		}
	}
}

func TestProtocolDeclaredBeforeInferred(t *testing.T) {
	set := load(t, "completeness", "appliesTo: {protocol: [comprehensive]}\nmeasurands: {tr: tr-velocity}\nrequire: \"present(tr)\"\n")
	few := study(measured(t, "tr-velocity", "2.9 m/s"))
	many := study(measured(t, "tr-velocity", "2.7 m/s"), measured(t, "ra-pressure", "8 mm[Hg]"), measured(t, "rv-pressure", "40 mm[Hg]"))
	for _, c := range []struct {
		name, base, triggered string
		study                 *echo.Study
		declared              bool
		reason                string
		outcome               finding.Outcome
	}{
		{"nothing at all", "", "", study(), false, "neither", finding.NotApplicable},
		{"few", "limited", "fast-jet", few, false, "inferred: 1 quantities", finding.NotApplicable},
		{"many", "comprehensive", "", many, false, "inferred: 3 quantities, full from 3", finding.Pass},
		{"few but declared", "comprehensive", "", states(study(), "full-study"), true, "full-study", finding.Fail},
	} {
		p, results := put(set, c.study)
		triggered := ""
		for _, one := range p.Triggered {
			triggered += one.Identifier
		}
		if p.Base.Identifier != c.base || p.Base.Declared != c.declared || triggered != c.triggered || !strings.Contains(p.Base.Reason, c.reason) || results[0].Outcome != c.outcome {
			t.Errorf("%s: %+v, %s", c.name, p, results[0].Outcome)
		}
	}
}

// Every reason that holds is told, with the words of the record where it rests
// on those; a statement that stands against it leaves none.
func TestProtocolTellsEveryReason(t *testing.T) {
	set := load(t, "completeness", "measurands: {tr: tr-velocity}\nrequire: \"present(tr)\"\n")
	for _, c := range []struct {
		name   string
		study  *echo.Study
		reason string
	}{
		{"neither", study(measured(t, "tr-velocity", "2.8 m/s")), ""},
		{"one", study(measured(t, "tr-velocity", "2.9 m/s")), "inferred: jet 2.9 m/s, fast above 2.8 m/s"},
		{"both", states(study(measured(t, "tr-velocity", "290 cm/s")), "atrial-fibrillation"), "inferred: jet 290 cm/s, fast above 2.8 m/s; the record says: “atrial-fibrillation”"},
		{"set aside", states(study(measured(t, "tr-velocity", "2.9 m/s")), "sinus-rhythm"), ""},
	} {
		p, _ := put(set, c.study)
		got := ""
		for _, one := range p.Triggered {
			got += one.Reason
		}
		if got != c.reason {
			t.Errorf("%s: %q, want %q", c.name, got, c.reason)
		}
	}
}

// A value at a limit is at the limit however it was written.
func TestLimitInAnotherUnit(t *testing.T) {
	set := load(t, "consistency", "measurands: {d: annulus}\nparameters: {limit: {value: 40, unit: mm, origin: site choice}}\nrequire: \"d <= limit\"\n")
	for value, want := range map[string]finding.Outcome{"40 mm": finding.Pass, "4.0 cm": finding.Pass, "0.04 m": finding.Pass, "40.01 mm": finding.Fail, "4.001 cm": finding.Fail} {
		if got := outcome(set, study(measured(t, "annulus", value))); got.Outcome != want {
			t.Errorf("%s: %s, want %s", value, got.Outcome, want)
		}
	}
	thirds := study(measured(t, "annulus", "39.9 mm"), measured(t, "annulus", "40.0 mm"), measured(t, "annulus", "40.1 mm"))
	if got := outcome(set, thirds); got.Outcome != finding.Pass {
		t.Errorf("mean of 39.9, 40.0, 40.1: %s", got.Outcome)
	}
}

func TestSameResultsEveryTimeAndAtOnce(t *testing.T) {
	set := load(t, "consistency", relation)
	s := study(measured(t, "tr-velocity", "2.8 m/s"), measured(t, "ra-pressure", "8 mm[Hg]"), measured(t, "rv-pressure", "54 mm[Hg]"))
	_, want := put(set, s)
	var wg sync.WaitGroup
	for range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for range 20 {
				if _, got := put(set, s); !reflect.DeepEqual(got, want) {
					t.Error("results differ between runs")
				}
			}
		}()
	}
	wg.Wait()
}

// Whatever numbers a record holds, a value computed from them and written with
// its rounding passes, and one displaced by more than all rounding fails.
func TestRecomputeOnRandomStudies(t *testing.T) {
	set := load(t, "consistency", relation)
	random := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		tr, rap := 1.5+3*random.Float64(), 2+18*random.Float64()
		true_ := 4*tr*tr + rap
		build := func(rvsp float64) *echo.Study {
			return study(measured(t, "tr-velocity", fmt.Sprintf("%.2f m/s", tr)), measured(t, "ra-pressure", fmt.Sprintf("%.0f mm[Hg]", rap)), measured(t, "rv-pressure", fmt.Sprintf("%.1f mm[Hg]", rvsp)))
		}
		if got := outcome(set, build(true_)); got.Outcome != finding.Pass {
			t.Fatalf("TR %.4f RAP %.3f: %s", tr, rap, got.Message)
		}
		if got := outcome(set, build(true_+8*tr*0.01+1.2)); got.Outcome != finding.Fail {
			t.Fatalf("TR %.4f RAP %.3f displaced: %s", tr, rap, got.Outcome)
		}
	}
}

func TestMachineDigitsAreShortenedInMessages(t *testing.T) {
	set := load(t, "consistency", "measurands: {tr: tr-velocity}\nrequire: \"tr < 0\"\nmessage: \"{tr}\"\n")
	for written, want := range map[string]string{"2.8099999427795410": "2.81 m/s", "2.80": "2.80 m/s", "281.25": "281.25 m/s", "0.0012345678": "0.001235 m/s"} {
		if got := outcome(set, study(measured(t, "tr-velocity", written+" m/s"))); got.Message != want {
			t.Errorf("%s is told as %q, want %q", written, got.Message, want)
		}
	}
}
