package seeded

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/extract"
	result "echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/judgement"
	"echotally/internal/library"
	"echotally/internal/sr"
	"echotally/internal/world"
	"echotally/rules"
)

// worldDraws are the draws of the second world that are counted; they are not
// looked into. Tuning is done on draw 7.
func worldDraws() []uint64 { return []uint64{81001, 81002, 81003} }

const tuningDraw = 7

// worldJudge puts the shipped rules, and with the private codes mapped those and
// a site's mapping, to studies of the second world.
type worldJudge struct {
	t      testing.TB
	lib    *library.Library
	plain  *judge.Judge
	mapped map[string]*judgeOf
}

type judgeOf struct {
	lib   *library.Library
	judge *judge.Judge
}

func newWorldJudge(t testing.TB) *worldJudge {
	t.Helper()
	lib, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return &worldJudge{t: t, lib: lib, plain: judge.New(lib), mapped: map[string]*judgeOf{}}
}

// withCodes is the library a lab has after mapping the scanner's own codes.
func (w *worldJudge) withCodes(s *world.Study) *judgeOf {
	if len(s.PrivateCodes) == 0 {
		return &judgeOf{w.lib, w.plain}
	}
	if known := w.mapped[s.Dialect]; known != nil {
		return known
	}
	byID, order := map[string][]string{}, []string{}
	for _, m := range s.PrivateCodes {
		named := w.lib.Measurands.Name(standardItem(m))
		if named == nil {
			continue
		}
		if byID[named.Identifier] == nil {
			order = append(order, named.Identifier)
		}
		byID[named.Identifier] = append(byID[named.Identifier], m.Private.Scheme+":"+m.Private.Value)
	}
	var b strings.Builder
	for _, id := range order {
		fmt.Fprintf(&b, "- identifier: %s\n  codings:\n", id)
		for _, c := range byID[id] {
			fmt.Fprintf(&b, "    - {conceptName: %q, source: \"conformance statement (invented)\"}\n", c)
		}
	}
	site := fstest.MapFS{"measurand/scanner.yaml": {Data: []byte(b.String())}}
	lib, err := library.Load(library.Settings{}, rules.FS, site)
	if err != nil {
		w.t.Fatalf("%s: %v\n%s", s.Dialect, err, b.String())
	}
	w.mapped[s.Dialect] = &judgeOf{lib, judge.New(lib)}
	return w.mapped[s.Dialect]
}

func codeOf(c world.Code) coding.CodedConcept {
	return coding.CodedConcept{CodeValue: c.Value, CodingSchemeDesignator: c.Scheme, CodeMeaning: c.Meaning}
}

// standardItem is a measurement named by what a private code stands for.
func standardItem(m world.Mapping) *echo.Measurement {
	out := &echo.Measurement{ConceptName: codeOf(m.Standard)}
	for _, pair := range m.Modifiers {
		at := map[string]**echo.Modifier{
			"363698007": &out.Modifiers.FindingSite, "106233006": &out.Modifiers.TopographicalModifier, "272741003": &out.Modifiers.Laterality,
			"399264008": &out.Modifiers.ImageMode, "260674002": &out.Modifiers.FlowDirection, "370129005": &out.Modifiers.MeasurementMethod,
			"272518008": &out.Modifiers.CardiacCyclePoint, "272517003": &out.Modifiers.RespiratoryCyclePoint, "111031": &out.Modifiers.ImageView,
			"125308": &out.Modifiers.MeasurementDivisor, "125307": &out.Modifiers.MeasuredProperty, "125306": &out.Modifiers.MeasurementType,
			"125305": &out.Modifiers.FindingObservationType,
		}[pair[0].Value]
		if at != nil {
			*at = &echo.Modifier{Concept: codeOf(pair[1])}
		}
	}
	return out
}

// read reads the files as the program does.
func (w *worldJudge) read(s *world.Study, lib *library.Library) *echo.Study {
	var docs []*sr.Document
	for _, f := range s.Files {
		file, err := dcm.ReadBytes(f.Data)
		if err != nil {
			w.t.Fatalf("%s %s: %v", s.Dialect, f.Name, err)
		}
		doc, err := sr.Parse(file)
		if err != nil {
			w.t.Fatalf("%s %s: %v", s.Dialect, f.Name, err)
		}
		docs = append(docs, doc)
	}
	return extract.Study(docs, extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements})
}

// judged is a study of the second world with what the program made of it.
type judged struct {
	study *echo.Study
	*judgement.Judgement
}

func (w *worldJudge) judge(s *world.Study, mapped bool) judged {
	of := &judgeOf{w.lib, w.plain}
	if mapped {
		of = w.withCodes(s)
	}
	read := w.read(s, of.lib)
	return judged{read, of.judge.Study(read, judge.By{})}
}

// raised reports whether a result asks for something, at or above a severity.
func raised(r *result.Result, at result.Severity) bool {
	return (r.Outcome == result.Fail || r.Outcome == result.Review) && r.Severity.Rank() >= at.Rank()
}

// fresh are the results that ask for something and that the clean twin has not.
func fresh(slipped, clean judged) []*result.Result {
	known := map[string]bool{}
	for i := range clean.Results {
		if r := &clean.Results[i]; raised(r, result.Information) {
			known[r.Rule+string(r.Outcome)] = true
		}
	}
	var out []*result.Result
	for i := range slipped.Results {
		if r := &slipped.Results[i]; raised(r, result.Information) && !known[r.Rule+string(r.Outcome)] {
			out = append(out, r)
		}
	}
	return out
}

// place names a content item across the objects of a study.
func place(uid, item string) string { return uid + " " + item }

// altered are the places of the items the slip touched, those that only follow
// apart.
func altered(s *world.Study, of judged) (culprits, following map[string]bool, named []string) {
	culprits, following = map[string]bool{}, map[string]bool{}
	uids := uidsOf(s)
	for _, a := range s.Truth.Altered {
		if a.Path == "" || a.Doc >= len(uids) {
			continue
		}
		p := place(uids[a.Doc], a.Path)
		if a.Follows {
			following[p] = true
		} else {
			culprits[p] = true
		}
	}
	for i := range of.study.Measurements {
		if m := &of.study.Measurements[i]; culprits[place(m.Source.SOPInstanceUID, m.Source.Item)] {
			named = append(named, m.Measurand)
		}
	}
	return culprits, following, named
}

func uidsOf(s *world.Study) []string {
	var out []string
	for _, f := range s.Files {
		file, err := dcm.ReadBytes(f.Data)
		if err != nil {
			return nil
		}
		doc, err := sr.Parse(file)
		if err != nil {
			return nil
		}
		out = append(out, doc.SOPInstanceUID)
	}
	return out
}

// causesOf is what the program may call the slips of a class.
var causesOf = map[string][]string{
	"decimal": {"decimal-point", "unit-slip"}, "unit-factor": {"unit-slip", "pounds-or-inches", "decimal-point"}, "digits-exchanged": {"digits-transposed"},
	"digit-dropped": {"digit-dropped", "decimal-point", "unit-slip"}, "digit-doubled": {"digit-doubled", "digit-dropped", "decimal-point"},
	"two-values-exchanged": {"exchanged", "height-and-weight-exchanged"}, "wrong-site": {"exchanged", "sites-exchanged", "other-site-or-method", "copied"},
	"ratio-inverted": {"ratio-inverted", "exchanged"}, "wrong-beat": {"other-value-of-the-same"}, "wrong-window": {"other-value-of-the-same", "other-window"},
	"wrong-mean": {"other-value-of-the-same"}, "wrong-input": {"other-site-or-method", "other-value-of-the-same", "atrial-pressure"},
	"wrong-form": {"not-squared", "atrial-pressure", "radius-for-diameter", "other-form", "half-shell"}, "wrong-field": {"copied", "other-site-or-method", "exchanged"},
	"old-result": {"kept-after-edit", "other-value-of-the-same"}, "indexing": {"indexing"}, "radius-diameter": {"radius-for-diameter"}, "sign": {"sign"},
}

// nameable are the classes whose slip the program has a name for; the others are
// contradictions of words, persons or dates, which explain themselves.
func nameable(class string) bool { return len(causesOf[class]) > 0 }

// worldCount is what one draw of the second world came to.
type worldCount struct {
	slips, found, mapped  int
	warned                int // of the found, at warning or error or as a suspect
	named, cause          int // of the found with a nameable cause
	nameless, invented    int // of the found without one
	located, suspect      int // of the found whose culprit stands in an item
	blamed                int
	gaps, gapsFound       int
	clean, falseAlarms    int
	alarms                int
	complete, notes       int
	noText, notesNoText   int
	mostNotes, mostNoText int
	log                   []string
}

func (w *worldJudge) slip(c *worldCount, p *world.Pair) {
	c.slips++
	clean, slipped := w.judge(&p.Clean, false), w.judge(&p.Slipped, false)
	truth := p.Slipped.Truth
	culprits, following, named := altered(&p.Slipped, slipped)
	new := fresh(slipped, clean)
	first := suspects(slipped)
	inSuspects := slices.ContainsFunc(first, func(at string) bool { return culprits[at] })
	found := len(new) > 0 || inSuspects && len(suspects(clean)) == 0
	if found {
		c.found++
	}
	if slices.ContainsFunc(new, func(r *result.Result) bool { return r.Severity.Rank() >= result.Warning.Rank() }) || inSuspects {
		c.warned++
	}
	mapped := found || len(fresh(w.judge(&p.Slipped, true), w.judge(&p.Clean, true))) > 0
	if mapped {
		c.mapped++
	}
	line := fmt.Sprintf("%s %s/%s cause=%q found=%t mapped=%t", truth.Kind, p.Slipped.Dialect, p.Slipped.Condition, truth.Cause, found, mapped)
	if found {
		line += w.explained(c, truth, new, slipped, named)
		if len(culprits) > 0 && len(first) > 0 {
			c.located++
			if inSuspects {
				c.suspect++
			} else if !slices.ContainsFunc(first, func(at string) bool { return following[at] }) {
				c.blamed++
			}
			line += fmt.Sprintf(" suspect=%t of %v, altered %v", inSuspects, suspected(slipped), named)
		}
	}
	for _, r := range new {
		line += "\n    " + string(r.Severity) + " " + r.Rule + ": " + r.Message
	}
	if !found {
		line += "\n    " + truth.Text + " (" + truth.DetectableWhy + ")"
	}
	c.log = append(c.log, line)
}

// explained counts whether the cause is right, or invented.
func (w *worldJudge) explained(c *worldCount, truth *world.Truth, new []*result.Result, slipped judged, named []string) string {
	var said []result.Hypothesis
	for _, r := range new {
		said = append(said, r.Causes[:min(2, len(r.Causes))]...)
	}
	if slipped.Reconciliation != nil && len(slipped.Reconciliation.Suspects) > 0 {
		for _, s := range slipped.Reconciliation.Suspects[0] {
			if slices.Contains(named, s.Measurand) {
				said = append(said, s.Causes...)
			}
		}
	}
	switch {
	case truth.Cause == "":
		c.nameless++
		if len(said) > 0 {
			c.invented++
		}
	case nameable(truth.Cause) && len(said) > 0:
		c.named++
		if slices.ContainsFunc(said, func(h result.Hypothesis) bool { return slices.Contains(causesOf[truth.Cause], h.Identifier) }) {
			c.cause++
		}
	}
	return fmt.Sprintf(" said=%v", shorten(said))
}

// suspects are the places the reconciliation names first.
func suspects(j judged) []string {
	if j.Reconciliation == nil || len(j.Reconciliation.Suspects) == 0 {
		return nil
	}
	var out []string
	for _, s := range j.Reconciliation.Suspects[0] {
		out = append(out, place(s.Reference.SOPInstanceUID, s.Reference.Item))
	}
	return out
}

// suspected are the measurands of all rounds of suspects.
func suspected(j judged) [][]string {
	var out [][]string
	for _, round := range j.Reconciliation.Suspects {
		var names []string
		for _, s := range round {
			names = append(names, s.Measurand)
		}
		out = append(out, names)
	}
	return out
}

func (w *worldJudge) gap(c *worldCount, p *world.Pair) {
	c.gaps++
	clean, slipped := w.judge(&p.Clean, true), w.judge(&p.Slipped, true)
	known := map[string]bool{}
	for i := range clean.Results {
		known[clean.Results[i].Rule+string(clean.Results[i].Outcome)] = true
	}
	found := slices.ContainsFunc(slipped.Results, func(r result.Result) bool {
		return raised(&r, result.Information) && !known[r.Rule+string(r.Outcome)]
	})
	if found {
		c.gapsFound++
	} else {
		c.log = append(c.log, fmt.Sprintf("gap not found: %s %s/%s: %s", p.Slipped.Truth.Kind, p.Slipped.Dialect, p.Slipped.Condition, p.Slipped.Truth.Text))
	}
}

func (w *worldJudge) clean(c *worldCount, s *world.Study) {
	c.clean++
	j := w.judge(s, false)
	alarm, notes := 0, 0
	for i := range j.Results {
		r := &j.Results[i]
		if raised(r, result.Warning) && r.Kind == result.Consistency {
			alarm++
			c.log = append(c.log, fmt.Sprintf("false %s in %s/%s: %s: %s%s", r.Severity, s.Dialect, s.Condition, r.Rule, r.Message, restsOn(r)))
		} else if raised(r, result.Warning) && s.Complete {
			alarm++
			c.log = append(c.log, fmt.Sprintf("false %s (complete) in %s/%s: %s: %s%s", r.Severity, s.Dialect, s.Condition, r.Rule, r.Message, restsOn(r)))
		} else if raised(r, result.Information) && !r.PerLab {
			notes++
			if s.Complete || s.WithoutText {
				kind := map[bool]string{true: "note without text in", false: "note in"}[s.WithoutText]
				c.log = append(c.log, fmt.Sprintf("%s %s/%s: %s: %s", kind, s.Dialect, s.Condition, r.Rule, r.Message))
			}
		}
	}
	c.alarms += alarm
	if alarm > 0 {
		c.falseAlarms++
	}
	switch {
	case s.WithoutText:
		c.noText++
		c.notesNoText += notes
		c.mostNoText = max(c.mostNoText, notes)
	case s.Complete:
		c.complete++
		c.notes += notes
		c.mostNotes = max(c.mostNotes, notes)
	}
}

// count judges one draw of the second world.
func (w *worldJudge) count(draw uint64, slips, gaps, clean int) worldCount {
	var c worldCount
	for _, p := range world.Slips(draw, slips) {
		w.slip(&c, &p)
	}
	for _, p := range world.Gaps(draw+1000, gaps) {
		w.gap(&c, &p)
	}
	for _, s := range world.Clean(draw+2000, clean) {
		w.clean(&c, &s)
	}
	if path := os.Getenv("SEEDED_LOG"); path != "" {
		if err := os.WriteFile(fmt.Sprintf("%s.world.%d", path, draw), []byte(strings.Join(c.log, "\n")+"\n"), 0o644); err != nil {
			w.t.Fatal(err)
		}
	}
	return c
}

// heldOutWorlds counts the draws that were not looked into.
func heldOutWorlds(t *testing.T) []worldCount {
	w := newWorldJudge(t)
	var out []worldCount
	for _, draw := range worldDraws() {
		out = append(out, w.count(draw, 3*len(world.SlipKinds()), len(world.GapKinds()), 300))
	}
	return out
}

// worldTable has a line for each draw of the second world.
func worldTable(counts []worldCount) string {
	var b strings.Builder
	b.WriteString("| draw | slips | found as sent | of all, at warning or error | with codes mapped | cause right, of those named | invented, of those without one | suspect right | a right input blamed | gaps found | clean with a false alarm | notes on a complete study, mean and most | without text |\n" +
		"| --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n")
	of := func(n, all int) string { return fmt.Sprintf("%.1f %% of %d", percentage(n, max(all, 1)), all) }
	mean := func(n, all, most int) string { return fmt.Sprintf("%.1f, %d", float64(n)/float64(max(all, 1)), most) }
	for i, c := range counts {
		fmt.Fprintf(&b, "| %d | %d | %.1f %% | %.1f %% | %.1f %% | %s | %s | %s | %.1f %% | %s | %s | %s | %s |\n", i+1, c.slips, percentage(c.found, c.slips), percentage(c.warned, c.slips), percentage(c.mapped, c.slips),
			of(c.cause, c.named), of(c.invented, c.nameless), of(c.suspect, c.located), percentage(c.blamed, max(c.located, 1)), of(c.gapsFound, c.gaps), of(c.falseAlarms, c.clean),
			mean(c.notes, c.complete, c.mostNotes), mean(c.notesNoText, c.noText, c.mostNoText))
	}
	return b.String()
}

// TestSecondWorld counts what becomes of studies that a second hand wrote, on
// the draw that is tuned on; the draws that count are on the page of results.
func TestSecondWorld(t *testing.T) {
	c := newWorldJudge(t).count(tuningDraw, len(world.SlipKinds()), len(world.GapKinds()), 48)
	t.Log("\n" + worldTable([]worldCount{c}))
	t.Logf("draw %d: %d of %d slips found, %d at warning or error, %d with codes mapped; cause %d of %d, invented %d of %d; suspect %d of %d, blamed %d; gaps %d of %d; false alarms on %d of %d clean studies, %d in all",
		tuningDraw, c.found, c.slips, c.warned, c.mapped, c.cause, c.named, c.invented, c.nameless, c.suspect, c.located, c.blamed, c.gapsFound, c.gaps, c.falseAlarms, c.clean, c.alarms)
	if c.falseAlarms > 0 || 100*c.found < 92*c.slips || 100*c.gapsFound < 92*c.gaps {
		t.Errorf("worse than it was: %d clean studies with a false alarm, %d of %d slips and %d of %d gaps found", c.falseAlarms, c.found, c.slips, c.gapsFound, c.gaps)
	}
}
