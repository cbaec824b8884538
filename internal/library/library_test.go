package library_test

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/datafile/fault"
	"echotally/internal/library"

	"echotally/internal/rule"
)

const validRule = `identifier: tricuspid-valve/pressure
version: "1.0.0"
title: Pressure from its velocity
status: active
kind: consistency
severity: warning
purpose: Why.
usage: What to do.
relatedArtifact:
  - {type: citation, label: rudski2010, citation: "Rudski LG et al. J Am Soc Echocardiogr 2010;23:685-713"}
appliesTo:
  protocol: comprehensive
  age: {low: {value: 18, unit: a}}
  unless: [atrial-fibrillation]
measurands:
  tr: tr-velocity
  rap: {measurand: ra-pressure, imageView: [apical-four-chamber, absent]}
  rvsp: rv-pressure
parameters:
  tolerance: {value: 2, unit: "mm[Hg]", origin: site choice}
require: >-
  abs(rvsp -
  (peak_gradient(tr) + rap)) <= tolerance
message: "RVSP {rvsp}, computed {peak_gradient(tr) + rap}"
examples:
  - {title: fits, given: {tr: 3.0 m/s, rap: "8 mm[Hg]", rvsp: "44 mm[Hg]"}, outcome: pass}
  - {title: does not, given: {tr: 3.0 m/s, rap: "8 mm[Hg]", rvsp: "54 mm[Hg]"}, outcome: fail}
  - {title: no velocity, given: {rap: "8 mm[Hg]", rvsp: "54 mm[Hg]"}, outcome: open}
  - {title: child, given: {}, subject: {age: 6 mo}, outcome: notApplicable}
`

// files is a small valid rule folder.
func files() fstest.MapFS {
	texts := map[string]string{
		"terms.yaml": "window: {apical: {title: Apical, place: 1}}\nimageView:\n  apical-four-chamber: {code: \"SCT:399214001\", title: Apical four-chamber, window: apical}\n",
		"measurand/right-heart.yaml": `- {identifier: tr-velocity, title: TR velocity, unit: m/s, counts: highest, codings: [{conceptName: "LN:11726-7", source: test}]}
- {identifier: ra-pressure, title: RA pressure, unit: "mm[Hg]", codings: [{conceptName: "LN:18070-3", source: test}]}
- {identifier: rv-pressure, title: RV pressure, unit: "mm[Hg]", codings: [{conceptName: "LN:79917-1", source: test}]}
- {identifier: annulus, title: Annulus, unit: mm, codings: [{conceptName: "LN:79919-7", source: test}]}
`,
		"phrases/coded.yaml":            "- {identifier: atrial-fibrillation, title: Atrial fibrillation, group: rhythm, codings: [\"SCT:49436004\"]}\n",
		"protocol/comprehensive.yaml":   "identifier: comprehensive\ntitle: Comprehensive\nbase: true\nbecause: [{when: \"count_measurands() >= 1\", words: some}]\n",
		"tricuspid-valve/pressure.yaml": validRule,
	}
	out := fstest.MapFS{}
	for name, text := range texts {
		out[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return out
}

const path = "tricuspid-valve/pressure.yaml"

// changed is the valid folder with one text replaced in the rule file.
func changed(t *testing.T, old, new string) fstest.MapFS {
	t.Helper()
	out := files()
	if !strings.Contains(validRule, old) {
		t.Fatalf("the valid rule does not hold %q", old)
	}
	out[path] = &fstest.MapFile{Data: []byte(strings.Replace(validRule, old, new, 1))}
	return out
}

func TestValidRuleLoads(t *testing.T) {
	set, err := library.Load(library.Settings{}, files())
	if err != nil {
		t.Fatal(err)
	}
	r := set.Rules[0]
	if r.Structure != "tricuspid-valve" || len(r.Digest()) != 64 || len(set.Digest) != 64 || len(r.Aliases) != 3 || set.Edition != rule.DefaultEdition {
		t.Errorf("loaded as %+v", r)
	}
}

func TestFaultsAreFoundWhereTheyStand(t *testing.T) {
	for _, c := range []struct{ name, old, new, source, message, hint string }{
		{"unknown key", "severity: warning", "severty: warning", "severty: warning", "unknown field", "did you mean severity?"},
		{"slip in the name of a modifier", "imageView: [apical-four-chamber, absent]", "imageVew: [apical-four-chamber, absent]", "rap:", "unknown field", "did you mean imageView?"},
		{"identifier is not the path", "identifier: tricuspid-valve/pressure", "identifier: tricuspid-valve/other", "identifier:", "not the path", "tricuspid-valve/pressure"},
		{"version without patch number", `"1.0.0"`, `"1.0"`, "version:", "version \"1.0\"", "three numbers"},
		{"slip in the status", "status: active", "status: activ", "status:", "status \"activ\"", "did you mean active?"},
		{"no purpose", "purpose: Why.", "purpose: \"\"", "purpose:", "no purpose", ""},
		{"unknown measurand", "tr: tr-velocity", "tr: tr-velocty", "tr: tr-velocty", "unknown measurand", "did you mean tr-velocity?"},
		{"unknown term", "[apical-four-chamber, absent]", "[apical-four-chambr]", "rap:", "unknown imageView term", "did you mean apical-four-chamber?"},
		{"unknown statement", "[atrial-fibrillation]", "[atrial-fibrilation]", "unless:", "unknown statement", "did you mean atrial-fibrillation?"},
		{"unknown protocol", "protocol: comprehensive", "protocol: comprehensiv", "protocol:", "unknown protocol", "did you mean comprehensive?"},
		{"a measurand nothing is said of", "rvsp: rv-pressure", "rvsp:", "rvsp:", "no measurand given", ""},
		{"a number nothing is said of", "{value: 2, unit: \"mm[Hg]\", origin: site choice}", "", "tolerance:", "has no value", "give value"},
		{"number without origin", ", origin: site choice", "", "tolerance:", "without an origin", "sources"},
		{"unknown origin", "origin: site choice", "origin: rudski2001", "tolerance:", "unknown origin", "did you mean rudski2010?"},
		{"unit of no dimension we know", `unit: "mm[Hg]"`, `unit: "mm[Mg]"`, "tolerance:", "mm[Mg]", "UCUM"},
		{"different dimensions on the second line of a folded text", "(peak_gradient(tr) + rap)) <= tolerance", "(peak_gradient(tr) + tr)) <= tolerance", "(peak_gradient(tr) + tr)", "cannot add mm[Hg] and m/s", "same kind"},
		{"number in the expression", "<= tolerance", "<= 3", "<= 3", "has no origin", "parameters"},
		{"unknown name in the message", "{rvsp}", "{rvps1}", "message:", "unknown name rvps1", ""},
		{"parameter nobody uses", "parameters:", "parameters:\n  spare: {value: 1, origin: site choice}", "spare:", "never used", ""},
		{"name with a meaning of its own", "  tr: tr-velocity", "  age: tr-velocity", "age: tr-velocity", "already means something", ""},
		{"outcome never shown", "outcome: fail", "outcome: pass", "title: fits", "no example comes to fail", ""},
		{"unknown outcome", "outcome: open", "outcome: opn", "opn", "unknown outcome opn", ""},
		{"example of an unknown alias", "given: {tr: 3.0 m/s, rap: \"8 mm[Hg]\", rvsp: \"44 mm[Hg]\"}", "given: {trv: 3.0 m/s}", "trv", "unknown alias trv", "did you mean tr?"},
		{"two demands", "message:", "forbid: [noValue]\nmessage:", "", "demands one thing", ""},
		{"not a rule file at all", "identifier: tricuspid-valve/pressure", "- x", "version:", "not allowed", ""},
		{"an anchor", "purpose: Why.", "purpose: &a Why.", "purpose: &a Why.", "anchors", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			found := library.Lint(library.Settings{}, changed(t, c.old, c.new))
			for _, err := range found {
				var fault *fault.Error
				if errors.As(err, &fault) && fault.File == path && strings.Contains(fault.Source, c.source) && strings.Contains(fault.Message, c.message) && strings.Contains(fault.Hint, c.hint) {
					if fault.Line == 0 {
						t.Errorf("the fault has no place: %v", err)
					}
					return
				}
			}
			t.Errorf("want a fault at %q saying %q with hint %q, got:\n%v", c.source, c.message, c.hint, errors.Join(found...))
		})
	}
}

// The sentences that stand beside phrases are put to them.
func TestExamplesOfPhrasesAreLinted(t *testing.T) {
	const phrases = "phrases/en.yaml"
	for _, c := range []struct{ text, fault string }{
		{"Now in atrial fibrillation", ""}, {"Now in sinus rhythm", "expected states true"},
	} {
		out := files()
		out[phrases] = &fstest.MapFile{Data: []byte("language: en\nphrases:\n  - {statement: atrial-fibrillation, words: [atrial fibrillation],\n    examples: [{text: " + c.text + ", states: true}]}\n")}
		found := errors.Join(library.Lint(library.Settings{}, out)...)
		if c.fault == "" && found != nil || c.fault != "" && (found == nil || !strings.Contains(found.Error(), c.fault) || !strings.Contains(found.Error(), phrases)) {
			t.Errorf("%q: %v, want %q", c.text, found, c.fault)
		}
	}
}

func TestCaretPointsIntoTheExpression(t *testing.T) {
	found := library.Lint(library.Settings{}, changed(t, "+ rap)) <= tolerance", "+ rp)) <= tolerance"))
	text := errors.Join(found...).Error()
	want := "    (peak_gradient(tr) + rp)) <= tolerance\n" + strings.Repeat(" ", 25) + "^"
	if !strings.Contains(text, want) {
		t.Errorf("got:\n%s\nwant:\n%s", text, want)
	}
}

func TestAllFaultsAreTold(t *testing.T) {
	out := changed(t, "status: active", "status: activ")
	text := strings.Replace(string(out[path].Data), "<= tolerance", "<= 3", 1)
	out[path] = &fstest.MapFile{Data: []byte(text)}
	if found := library.Lint(library.Settings{}, out); len(found) < 2 {
		t.Errorf("two faults, told %d: %v", len(found), found)
	}
}

func site(text string) fstest.MapFS { return fstest.MapFS{path: {Data: []byte(text)}} }

const overlay = `derivedFrom: "tricuspid-valve/pressure@1.0.0"
approvalDate: "2026-01-31"
reviewer: quality lead
severity: error
parameters:
  tolerance: {value: 5, origin: site choice}
`

func TestSiteChangesParametersAndSeverity(t *testing.T) {
	set, err := library.Load(library.Settings{}, files(), site(overlay))
	if err != nil {
		t.Fatal(err)
	}
	plain, err := library.Load(library.Settings{}, files())
	if err != nil {
		t.Fatal(err)
	}
	r, old := set.Rules[0], plain.Rules[0]
	if r.Severity != "error" || r.Parameters["tolerance"].Value.Text() != "5" || r.Parameters["tolerance"].Unit.Code() != "mm[Hg]" || !r.Site || old.Site {
		t.Errorf("site change not applied: %v %+v site %v", r.Severity, r.Parameters["tolerance"], r.Site)
	}
	if r.Digest() == old.Digest() || set.Digest == plain.Digest {
		t.Error("a changed rule has the digest of the shipped one")
	}
}

func TestSiteMayNotChangeTheMeaning(t *testing.T) {
	for name, c := range map[string][3]string{
		"another version":   {"@1.0.0", "@0.9.0", "the shipped rule is tricuspid-valve/pressure@1.0.0"},
		"no approval":       {"approvalDate: \"2026-01-31\"\n", "", "needs approvalDate and reviewer"},
		"another demand":    {"severity: error", "require: \"present(tr)\"", "require cannot be changed by a site"},
		"unknown parameter": {"tolerance:", "tolerence:", "has no parameter tolerence"},
		"no derivedFrom":    {"derivedFrom: \"tricuspid-valve/pressure@1.0.0\"\n", "", "a rule of this path is shipped already"},
	} {
		_, err := library.Load(library.Settings{}, files(), site(strings.Replace(overlay, c[0], c[1], 1)))
		if err == nil || !strings.Contains(err.Error(), c[2]) {
			t.Errorf("%s: want %q, got %v", name, c[2], err)
		}
	}
}

func TestSiteRuleOfItsOwn(t *testing.T) {
	text := strings.Replace(validRule, "tricuspid-valve/pressure", "our-lab/pressure", 1)
	set, err := library.Load(library.Settings{}, files(), fstest.MapFS{"our-lab/pressure.yaml": {Data: []byte(text)}})
	if err != nil {
		t.Fatal(err)
	}
	if len(set.Rules) != 2 || set.Rules[0].File.Identifier != "our-lab/pressure" || !set.Rules[0].Site {
		t.Errorf("got %d rules", len(set.Rules))
	}
}

func TestDraftsAndRetiredRulesRest(t *testing.T) {
	for status, running := range map[string][2]int{"active": {1, 1}, "draft": {0, 1}, "retired": {0, 0}} {
		for i, settings := range []library.Settings{{}, {Drafts: true}} {
			set, err := library.Load(settings, changed(t, "status: active", "status: "+status))
			if err != nil {
				t.Fatal(err)
			}
			if len(set.Rules) != running[i] || len(set.Rules)+len(set.Resting) != 1 {
				t.Errorf("%s with %+v: %d run, %d rest", status, settings, len(set.Rules), len(set.Resting))
			}
		}
	}
}

func TestRetiredRuleMayNameWhatIsGone(t *testing.T) {
	fs := changed(t, "status: active", "status: retired")
	fs[path] = &fstest.MapFile{Data: []byte(strings.Replace(string(fs[path].Data), "tr: tr-velocity", "tr: gone", 1))}
	if _, err := library.Load(library.Settings{}, fs); err != nil {
		t.Error(err)
	}
}

// What was judged under another edition, or with drafts, is another judgement.
func TestSetDigestDependsOnTheChoices(t *testing.T) {
	digests := map[string]bool{}
	for _, settings := range []library.Settings{{}, {Drafts: true}, {Edition: "2025"}, {Edition: "2025", Drafts: true}} {
		set, err := library.Load(settings, files())
		if err != nil {
			t.Fatal(err)
		}
		digests[set.Digest] = true
	}
	named, err := library.Load(library.Settings{Edition: rule.DefaultEdition}, files())
	if err != nil {
		t.Fatal(err)
	}
	if len(digests) != 4 || !digests[named.Digest] {
		t.Errorf("%d digests of 4 choices, that of the default edition among them: %v", len(digests), digests[named.Digest])
	}
}

func TestSetDigestDependsOnEveryFile(t *testing.T) {
	digests := map[string]string{}
	for name := range maps.Keys(files()) {
		fs := files()
		fs[name] = &fstest.MapFile{Data: append(fs[name].Data, "# changed\n"...)}
		set, err := library.Load(library.Settings{}, fs)
		if err != nil {
			t.Fatal(err)
		}
		digests[set.Digest] = name
	}
	if len(digests) != len(files()) {
		t.Errorf("changes in %d files give %d digests: %v", len(files()), len(digests), digests)
	}
}

// FuzzRule: whatever a rule file holds, loading ends with a set or with faults.
func FuzzRule(f *testing.F) {
	f.Add(validRule)
	f.Add(overlay)
	f.Add("identifier: [\n")
	f.Add(fmt.Sprintf("require: %s", strings.Repeat("(", 100)))
	f.Fuzz(func(t *testing.T, text string) {
		fs := files()
		fs[path] = &fstest.MapFile{Data: []byte(text)}
		set, err := library.Load(library.Settings{Drafts: true}, fs)
		if (set == nil) == (err == nil) {
			t.Fatalf("set %v, err %v", set, err)
		}
	})
}

// withWorks is the valid folder whose rule names its work by label only.
func withWorks(works, rule string) fstest.MapFS {
	out := files()
	const own = `relatedArtifact:
  - {type: citation, label: rudski2010, citation: "Rudski LG et al. J Am Soc Echocardiogr 2010;23:685-713"}
`
	out["sources.yaml"] = &fstest.MapFile{Data: []byte(works)}
	out[path] = &fstest.MapFile{Data: []byte(strings.Replace(validRule, own, rule, 1))}
	return out
}

func TestAWorkIsListedOnceAndNamedByItsLabel(t *testing.T) {
	const works = "Rudski 2010: \"Rudski LG et al. Guidelines: the right heart. J Am Soc Echocardiogr 2010;23:685-713\"\n"
	const named = "sources:\n  - {Rudski 2010: Table 3}\n  - common practice\n"
	set, err := library.Load(library.Settings{}, withWorks(works, named))
	if err != nil {
		t.Fatal(err)
	}
	got := set.Rules[0].File.RelatedArtifact
	if len(got) != 2 || got[0].Type != "citation" || got[0].String() != "Rudski LG et al. Guidelines: the right heart. J Am Soc Echocardiogr 2010;23:685-713, Table 3" ||
		got[1].Type != "documentation" || got[1].String() != "common practice" {
		t.Errorf("sources %+v", got)
	}
	other, err := library.Load(library.Settings{}, withWorks(strings.Replace(works, "685-713", "685-714", 1), named))
	if err != nil {
		t.Fatal(err)
	}
	if other.Rules[0].Digest() == set.Rules[0].Digest() || other.Foundation != set.Foundation {
		t.Error("another citation is another rule, and nothing else")
	}
	for name, c := range map[string]struct{ works, rule, file, message, hint string }{
		"unknown label":  {works, "sources: [Rudsky 2010]\n", path, "no work is called Rudsky 2010", "did you mean Rudski 2010?"},
		"no such work":   {works, "sources: [Rudski 2010, Nobody 1900]\n", path, "no work is called Nobody 1900", "add it to sources.yaml"},
		"unused":         {works + "Lang 2015: Lang RM. Circulation 2015;1:1\n", named, "sources.yaml", "names Lang 2015", "take it out"},
		"listed twice":   {works + "Rudsky: \"Rudsky L. J am Soc Echocardiogr, 2010; 23: 685-713\"\n", named, "sources.yaml", "the same work is listed as Rudski 2010", "everywhere"},
		"no citation":    {works + "Lang 2015: \"\"\n", named, "sources.yaml", "a work without its citation", ""},
		"no work at all": {works + "common practice: everybody\n", named, "sources.yaml", "common practice is no work", ""},
	} {
		found := library.Lint(library.Settings{}, withWorks(c.works, c.rule))
		if !slices.ContainsFunc(found, func(err error) bool {
			var fault *fault.Error
			return errors.As(err, &fault) && fault.File == c.file && fault.Line > 0 && strings.Contains(fault.Message, c.message) && strings.Contains(fault.Hint, c.hint)
		}) {
			t.Errorf("%s: got %v", name, errors.Join(found...))
		}
	}
}
