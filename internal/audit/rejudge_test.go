package audit_test

import (
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"echotally/internal/coding"
	"echotally/internal/counted"
	"echotally/internal/demo/labyear"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/library"
	"echotally/internal/reduction"
	"echotally/internal/rejudge"
	"echotally/internal/rule"
	"echotally/internal/ruletest"
	"echotally/internal/run/prior"
	"echotally/internal/tally"
	"echotally/rules"
)

// told is what a judgement came to, without words, in one order.
func told(results *tally.Outcomes) []string {
	var out []string
	for r := range results.All() {
		out = append(out, strings.Join([]string{r.Rule.Identifier, string(r.Outcome), string(r.Severity), string(r.Rule.Kind), strings.Join(r.Rule.Measurands, " ")}, "|"))
	}
	slices.Sort(out)
	return out
}

// reduced are results as they are counted.
func reduced(set *library.Library, results []finding.Result) *tally.Outcomes {
	out, _ := reduction.NewReducer(set).Outcomes(len(results), func(i int) (string, finding.Outcome, finding.Severity, string) {
		return results[i].Rule, results[i].Outcome, results[i].Severity, ""
	})
	return out
}

// Judging without words, and judging again only what changed, come to the same
// as judging everything. Every study is compared with the one before, as if all
// were of one person.
func TestRejudgingComesToTheSame(t *testing.T) {
	before := ruleSet(t)
	changeUnder := func(edition string, files map[string]string) *library.Library {
		site := fstest.MapFS{}
		for name, text := range files {
			site[name] = &fstest.MapFile{Data: []byte(text)}
		}
		set, err := library.Load(library.Settings{Edition: edition}, rules.FS, site)
		if err != nil {
			t.Fatal(err)
		}
		return set
	}
	change := func(files map[string]string) *library.Library { return changeUnder(rule.DefaultEdition, files) }
	of := func(identifier string) string {
		i := slices.IndexFunc(before.Rules, func(r *rule.Rule) bool { return r.File.Identifier == identifier })
		return "derivedFrom: " + identifier + "@" + before.Rules[i].File.Version + "\napprovalDate: 2026-11-01\nreviewer: quality manager\n"
	}
	// Every rule under another reviewer, and as grave as severity says.
	every := func(severity func(finding.Severity) finding.Severity) map[string]string {
		out := map[string]string{}
		for _, r := range before.Rules {
			text := of(r.File.Identifier)
			if now := severity(r.Severity); now != r.Severity {
				text += "severity: " + now.Word() + "\n"
			}
			out[r.File.Identifier+".yaml"] = text
		}
		return out
	}
	step := map[finding.Severity]finding.Severity{finding.Information: finding.Warning, finding.Warning: finding.Error, finding.Error: finding.Information}
	sets := map[string]*library.Library{
		"reviewer":  change(every(func(s finding.Severity) finding.Severity { return s })),
		"graver":    change(every(func(s finding.Severity) finding.Severity { return step[s] })),
		"severity":  change(map[string]string{"right-ventricle/mid-diameter-present.yaml": of("right-ventricle/mid-diameter-present") + "severity: error\n"}),
		"retired":   change(map[string]string{"right-ventricle/s-prime-present.yaml": of("right-ventricle/s-prime-present") + "status: retired\n"}),
		"compared":  change(map[string]string{"left-ventricle/mass-as-before.yaml": of("left-ventricle/mass-as-before") + "severity: error\n"}),
		"limit":     change(map[string]string{"right-ventricle/tapse-fits-s-prime.yaml": of("right-ventricle/tapse-fits-s-prime") + "parameters: {short: {value: 180 ms, origin: site choice}}\n"}),
		"asked":     change(map[string]string{"left-ventricle/systolic-to-diastolic-dimension-usual.yaml": of("left-ventricle/systolic-to-diastolic-dimension-usual") + "parameters: {low_ef: {value: 20 %, origin: site choice}}\n"}),
		"no change": change(nil),
		"protocol":  change(map[string]string{"protocol/pulmonary-hypertension.yaml": "identifier: pulmonary-hypertension\ntitle: Any jet\nmeasurands: {tr: tricuspid-regurgitation-peak-velocity}\nbecause: [{when: \"present(tr)\", words: a jet was measured}]\n"}),
		"edition":   changeUnder("2025", nil),
		"codes": change(map[string]string{
			"measurand/own.yaml": "- {identifier: tricuspid-annular-plane-systolic-excursion, codings: [{conceptName: \"99OWN:T\", manufacturer: Own, source: ours}]}\n" +
				"- {identifier: own-quantity, title: Own, unit: mm, codings: [{conceptName: \"99OWN:Q\", manufacturer: Own, source: ours}]}\n",
			"right-ventricle/tapse-present.yaml": of("right-ventricle/tapse-present") + "severity: error\n",
		}),
	}
	again := map[string]*rejudge.Rejudger{}
	for name, set := range sets {
		again[name] = rejudge.New(before, set)
	}
	differs, partly, settled := map[string]int{}, map[string]int{}, map[string]int{}
	var last *echo.Study
	err := labyear.Studies(labyear.Options{Seed: 3, PerMonth: 1}, func(made labyear.Study) error {
		study, err := compose(before, made, true)
		if err != nil {
			return err
		}
		study.Identity = echo.Identity{PatientID: "1", BirthDate: "19600101"}
		if last != nil {
			study.Prior = prior.Of(study, []*echo.Study{last})
		}
		last = study
		first := judge.Study(before, study, judge.By{})
		protocols, full := first.Protocols, reduced(before, first.Results)
		if _, brief := again["no change"].Before(study); !slices.Equal(told(brief), told(full)) {
			t.Errorf("judging without words differs: %v", differing(told(brief), told(full)))
		}
		for name, set := range sets {
			second := judge.Study(set, study, judge.By{})
			chosen, want := second.Protocols, reduced(set, second.Results)
			kept, got := again[name].After(study, protocols, full)
			if !slices.Equal(holding(kept), holding(chosen)) {
				t.Errorf("%s: protocols %v, want %v", name, holding(kept), holding(chosen))
			}
			if !slices.Equal(told(got), told(want)) {
				t.Errorf("%s: judging what changed differs: %v", name, differing(told(got), told(want)))
			}
			if !slices.Equal(told(want), told(full)) {
				differs[name]++
			}
			if again[name].Settled(full, !slices.ContainsFunc(study.Measurements, func(m echo.Measurement) bool { return m.Measurand == "" })) {
				settled[name]++
				if _, got = again[name].After(nil, protocols, full); !slices.Equal(told(got), told(want)) {
					t.Errorf("%s: a study that is said to be settled differs: %v", name, differing(told(got), told(want)))
				}
			}
			some, left := wantedOf(again[name], study)
			partly[name] += left
			if _, got = again[name].After(some, protocols, full); !slices.Equal(told(got), told(want)) {
				t.Errorf("%s: judging by the values that are wanted differs: %v", name, differing(told(got), told(want)))
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if differs["compared"] == 0 || differs["severity"] == 0 || differs["retired"] == 0 || differs["protocol"] == 0 || differs["limit"] == 0 || differs["no change"] != 0 {
		t.Errorf("studies that changed: %v", differs)
	}
	if partly["limit"] == 0 || partly["severity"] == 0 {
		t.Errorf("values that were left out: %v", partly)
	}
	if settled["limit"] == 0 || settled["edition"] != 0 || settled["protocol"] != 0 {
		t.Errorf("studies that were settled: %v", settled)
	}
	// The first asks of the same studies as before, the second by what it changes.
	nothing := reduced(before, nil)
	if !again["limit"].Settled(nothing, true) || again["asked"].Settled(nothing, true) {
		t.Error("what a rule asks of is told wrongly")
	}
}

// wantedOf is a study with the values that are wanted of it, as it is read from the
// ledger, and how many others it has.
func wantedOf(r *rejudge.Rejudger, s *echo.Study) (out *echo.Study, left int) {
	some := *s
	for range 2 {
		wanted := r.Wanted()
		if wanted == nil {
			return s, 0
		}
		some.Measurements = nil
		for _, m := range s.Measurements {
			if wanted(m.Measurand) {
				some.Measurements = append(some.Measurements, m)
			}
		}
		if !r.Widened(&some) {
			break
		}
	}
	return &some, len(s.Measurements) - len(some.Measurements)
}

// TestAGuessSettlesNothing: a rule that does not apply to the values that are named may,
// changed, contradict one that is guessed.
func TestAGuessSettlesNothing(t *testing.T) {
	before := ruleSet(t)
	const fits = "right-ventricle/tapse-fits-s-prime"
	i := slices.IndexFunc(before.Rules, func(r *rule.Rule) bool { return r.File.Identifier == fits })
	set, err := library.Load(library.Settings{}, rules.FS, fstest.MapFS{fits + ".yaml": &fstest.MapFile{Data: []byte("derivedFrom: " + fits + "@" + before.Rules[i].File.Version +
		"\napprovalDate: 2026-11-01\nreviewer: quality manager\nseverity: error\nparameters: {short: {value: 280 ms, origin: site choice}}\n")}})
	if err != nil {
		t.Fatal(err)
	}
	study := ruletest.StudyOf(t, before, map[string]string{"tricuspid-annular-velocity-s-prime": "10 cm/s", excursion: "22 mm"})
	for k := range study.Measurements {
		if m := &study.Measurements[k]; m.Measurand == excursion {
			m.Measurand, m.Canonical = "", nil
			m.ConceptName = coding.CodedConcept{CodeValue: "4711", CodingSchemeDesignator: "99MAKER", CodeMeaning: "TAPSE"}
		}
	}
	first := judge.Study(before, study, judge.By{})
	full, again := reduced(before, first.Results), rejudge.New(before, set)
	if !again.Settled(full, true) || again.Settled(full, false) {
		t.Errorf("settled where every value is named: %v, where one is not: %v", again.Settled(full, true), again.Settled(full, false))
	}
	_, got := again.After(study, first.Protocols, full)
	if want := reduced(set, judge.Study(set, study, judge.By{}).Results); slices.Equal(told(want), told(full)) || !slices.Equal(told(got), told(want)) {
		t.Errorf("the guess changes nothing, or is not judged as it would be: %v", differing(told(got), told(want)))
	}
}

// TestWhatAnUnnamedValueProbablyIsIsWanted: whether a value that nothing names is guessed
// turns on what else the study has of what it probably is.
func TestWhatAnUnnamedValueProbablyIsIsWanted(t *testing.T) {
	before := ruleSet(t)
	changed := func(identifier, change string) *rejudge.Rejudger {
		i := slices.IndexFunc(before.Rules, func(r *rule.Rule) bool { return r.File.Identifier == identifier })
		text := "derivedFrom: " + identifier + "@" + before.Rules[i].File.Version + "\napprovalDate: 2026-11-01\nreviewer: quality manager\n" + change
		set, err := library.Load(library.Settings{}, rules.FS, fstest.MapFS{identifier + ".yaml": &fstest.MapFile{Data: []byte(text)}})
		if err != nil {
			t.Fatal(err)
		}
		return rejudge.New(before, set)
	}
	const pressure = "right-ventricular-systolic-pressure"
	study := &echo.Study{Measurements: []echo.Measurement{{
		ConceptName: coding.CodedConcept{CodeValue: "4711", CodingSchemeDesignator: "99OWN", CodeMeaning: "Right ventricular systolic pressure"},
		Unit:        coding.CodedConcept{CodeValue: "mm[Hg]", CodingSchemeDesignator: "UCUM"}, Role: echo.Result,
	}}}
	fits := changed("right-ventricle/tapse-fits-s-prime", "parameters: {short: {value: 180 ms, origin: site choice}}\n")
	other := fits.Another()
	if wanted := fits.Wanted(); wanted(pressure) || !wanted("") || !wanted(excursion) {
		t.Error("not just the values of the rule and those that nothing names are wanted")
	}
	if !fits.Widened(study) || !fits.Wanted()(pressure) {
		t.Error("what an unnamed value probably is is not wanted")
	}
	if fits.Widened(study) {
		t.Error("a study with nothing new is read again")
	}
	if other.Wanted()(pressure) {
		t.Error("what one goroutine wants, another does")
	}
	if present := changed("right-ventricle/tapse-present", "severity: information\n"); present.Widened(study) {
		t.Error("rules that guess nothing ask for what is guessed")
	}
}

func holding(p finding.Protocols) []string {
	out := []string{p.Base.Identifier}
	for _, one := range p.Triggered {
		out = append(out, one.Identifier)
	}
	return out
}

func differing(a, b []string) []string {
	var out []string
	for _, x := range append(slices.Clone(a), b...) {
		if slices.Contains(a, x) != slices.Contains(b, x) {
			out = append(out, x)
		}
	}
	return out
}

// What is counted of a study comes back as it was when it is kept.
func TestWhatIsCountedIsKept(t *testing.T) {
	set := ruleSet(t)
	reducer, reader := reduction.NewReducer(set), reduction.NewReducer(set)
	values, spreads, pairs := 0, 0, 0
	err := labyear.Studies(labyear.Options{Seed: 5, PerMonth: 3}, func(made labyear.Study) error {
		study, err := compose(set, made, true)
		if err != nil {
			return err
		}
		study.Images = []echo.Image{{TransducerType: "SECTOR_PHASED"}}
		want := reducer.Reduce(study, finding.Protocols{}, nil, nil)
		got, err := reader.Unpack(reducer.Pack(&want))
		if err != nil {
			return err
		}
		got.UID = want.UID
		if diff := cmp.Diff(want, got, cmpopts.EquateEmpty(), cmpopts.IgnoreUnexported(counted.Study{})); diff != "" {
			t.Errorf("%s: %s", want.UID, diff)
		}
		values, spreads, pairs = values+len(got.Values), spreads+len(got.Spreads), pairs+len(got.Pairs)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if values == 0 || spreads == 0 || pairs == 0 {
		t.Errorf("%d values, %d spreads and %d pairs: not all of it was shown", values, spreads, pairs)
	}
}
