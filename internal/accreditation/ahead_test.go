package accreditation_test

import (
	"slices"
	"strings"
	"testing"

	"echotally/internal/accreditation"
	"echotally/internal/actionlog"
	"echotally/internal/review"
	"echotally/internal/table"
)

func tableOf(t *testing.T, b *accreditation.Binder, name string) table.Table {
	t.Helper()
	i := slices.IndexFunc(b.Tables, func(t table.Table) bool { return t.Identifier == name })
	if i < 0 {
		t.Fatalf("no table %s", name)
	}
	return b.Tables[i]
}

// TestWhatFallsDueIsToldAhead: attachments that lapse, cases and meetings the months
// to come ask for, and open actions, the next first and none later than a year.
func TestWhatFallsDueIsToldAhead(t *testing.T) {
	s := set(t, `
- {identifier: policy, section: "1", text: A policy., attachment: the policy}
- {identifier: later, section: "1", text: A policy., attachment: the policy}
- {identifier: cases, section: "2", text: Cases., data: {cases: {least: 2}}}
- {identifier: met, section: "3", text: Meetings., data: {meetings: {least: 2}}}
- {identifier: acted, section: "4", text: Actions., data: {actions: true}}
`)
	m := material(t) // state of 30 November 2026
	file := &accreditation.File{Name: "p.pdf", SHA256: "00", Bytes: 1}
	m.Attachments = []accreditation.Attachment{
		{Set: "own", Requirement: "policy", File: file, Until: "2027-02-01", By: "quality-manager", At: "2026-05-01T00:00:00Z", Number: 1},
		{Set: "own", Requirement: "later", File: file, Until: "2029-02-01", By: "quality-manager", At: "2026-05-01T00:00:00Z", Number: 2},
	}
	m.Draws = []review.Draw{{Number: 1, Cases: []review.Case{{Number: 1, Study: "2.25.1", Date: "2026-10-02"}}}}
	m.Meetings = []accreditation.Meeting{{Date: "2026-03-03", Present: []string{"p-a"}}}
	m.Actions = []actionlog.Action{{Number: 7, Title: "x", Started: day("2026-02-01"), Due: day("2027-01-15")}}
	var got []string
	for _, row := range accreditation.Build(s, m).Ahead().Rows {
		got = append(got, row[0].Text+" "+row[2].Text)
	}
	want := []string{
		"2026-12-31 cases", "2026-12-31 met", "2027-01-15 acted", "2027-02-01 policy", "2027-03-31 cases", "2027-06-30 cases", "2027-06-30 met", "2027-09-30 cases",
	}
	if !slices.Equal(got, want) {
		t.Errorf("%q", got)
	}
	if first := accreditation.Build(s, m).Ahead().Rows[0][1].Text; !strings.HasSuffix(first, "1 more of 2026-Q4") {
		t.Errorf("%q: one case of the quarter is drawn", first)
	}
}

// TestEachModalityIsAskedFor: two transthoracic cases do not stand for the one stress
// study of the quarter.
func TestEachModalityIsAskedFor(t *testing.T) {
	s := set(t, `- {identifier: cases, section: "1", text: Cases., data: {cases: {least: 2, perModality: true}}}`)
	m := material(t)
	m.Options.Cutoff = day("2026-04-02")
	for i := range m.Studies {
		m.Studies[i].Protocol = "comprehensive"
	}
	m.Studies[9].Protocol = "stress"
	draw := func(studies ...string) {
		d := review.Draw{Number: 1}
		for i, uid := range studies {
			d.Cases = append(d.Cases, review.Case{Number: i + 1, Study: uid, Date: "2026-03-02"})
		}
		m.Draws = []review.Draw{d}
	}
	draw("2.25.1", "2.25.2")
	if r := row(t, accreditation.Build(s, m), "cases"); r.Status != accreditation.NotShown || !strings.Contains(r.Gap, "of each modality") {
		t.Errorf("%+v", r)
	}
	draw("2.25.1", "2.25.2", "2.25.9")
	b := accreditation.Build(s, m)
	if r := row(t, b, "cases"); r.Status != accreditation.ByData {
		t.Errorf("%+v", r)
	}
	var rows []string
	for _, r := range tableOf(t, b, "evidence-cases").Rows {
		rows = append(rows, strings.Join([]string{r[0].Text, r[1].Text}, " "))
	}
	if !slices.Equal(rows, []string{"2026-Q1 stress", "2026-Q1 transthoracic"}) {
		t.Errorf("%q", rows)
	}
}

// TestAQuarterWithFewerStudiesIsAskedForAllOfThem: where a quarter had one study, that
// one is asked for, as the note says; where it had none, nothing is shown.
func TestAQuarterWithFewerStudiesIsAskedForAllOfThem(t *testing.T) {
	s := set(t, `- {identifier: cases, section: "1", text: Cases., data: {cases: {least: 2, perModality: true}}}`)
	m := material(t)
	m.Options.Cutoff = day("2026-04-02")
	m.Studies = m.Studies[1:2]
	m.Studies[0].Protocol = "comprehensive"
	if r := row(t, accreditation.Build(s, m), "cases"); r.Status != accreditation.NotShown {
		t.Errorf("nothing drawn: %+v", r)
	}
	m.Draws = []review.Draw{{Number: 1, Cases: []review.Case{{Number: 1, Study: "2.25.1", Date: "2026-03-02"}}}}
	if r := row(t, accreditation.Build(s, m), "cases"); r.Status != accreditation.ByData {
		t.Errorf("all drawn: %+v", r)
	}
	m.Studies, m.Draws = nil, nil
	if r := row(t, accreditation.Build(s, m), "cases"); r.Status != accreditation.NotShown {
		t.Errorf("no study: %+v", r)
	}
}

// TestStudiesBehindAFigureAreCoded: every study is there once, by a code, and met as
// often as the figure says.
func TestStudiesBehindAFigureAreCoded(t *testing.T) {
	s := set(t, `
- {identifier: signed, section: "1", text: Signed., data: {measure: signed-in-time, least: 0.9}}
- {identifier: volume, section: "2", text: Enough., data: {volume: {of: reader, least: 1}}}
`)
	m := material(t)
	m.Options.Mark = func(text string) string { return "keyed " + text }
	b := accreditation.Build(s, m)
	met, codes := 0, map[string]bool{}
	list := tableOf(t, b, "studies-signed-in-time")
	for _, r := range list.Rows {
		codes[r[0].Text] = true
		if r[2].Text == "yes" {
			met++
		}
		if strings.Contains(r[0].Text, "2.25.") || !strings.HasPrefix(r[0].Text, "study-") {
			t.Errorf("%q names a study", r[0].Text)
		}
	}
	if met != 9 || len(codes) != 10 || !list.Unprinted {
		t.Errorf("%d of %d met", met, len(codes))
	}
	readers := map[string]int{}
	for _, r := range tableOf(t, b, "studies-volume").Rows {
		readers[r[2].Text]++
	}
	if readers["Reader 1"] != 5 || readers["Reader 2"] != 5 {
		t.Errorf("%v", readers)
	}
	if c := row(t, b, "signed").Course; c == nil || c.Months["2026-03"].Total != 10 || c.Least != 0.9 {
		t.Errorf("%+v", c)
	}
}
