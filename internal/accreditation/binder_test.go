package accreditation_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"echotally/internal/accreditation"
	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/review"
	"echotally/rules"
)

func set(t *testing.T, text string) *accreditation.Set {
	t.Helper()
	s, err := accreditation.Load("own", layer(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func layer(text string) fstest.MapFS {
	return fstest.MapFS{"requirements/own.yaml": {Data: []byte("title: Own\nbody: us\nedition: \"1\"\nsource: site choice\nrequirements:\n" + text)}}
}

func day(text string) time.Time {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return at
}

// material is a year of ten studies, nine of them signed in time.
func material(t *testing.T) *accreditation.Material {
	t.Helper()
	opt := audit.Defaults()
	var err error
	if opt.Period, err = calendar.Year("2026"); err != nil {
		t.Fatal(err)
	}
	opt.Cutoff = day("2026-11-30")
	m := &accreditation.Material{Options: opt, Oldest: day("2020-01-07")}
	for i := range 10 {
		read := day("2026-03-01").AddDate(0, 0, i)
		s := counted.Study{UID: fmt.Sprint("2.25.", i), Date: day("2026-03-01").AddDate(0, 0, i), Reader: []string{"p-a", "p-b"}[i%2], Sonographer: "p-s", Images: 1}
		s.Times = counted.Times{Ended: read, Read: read, Signed: read.Add(time.Hour)}
		if i == 0 {
			s.Times.Signed = read.Add(240 * time.Hour)
		}
		m.Studies = append(m.Studies, s)
	}
	return m
}

func row(t *testing.T, b *accreditation.Binder, name string) accreditation.Row {
	t.Helper()
	i := slices.IndexFunc(b.Rows, func(r accreditation.Row) bool { return r.Identifier == name })
	if i < 0 {
		t.Fatalf("no requirement %s", name)
	}
	return b.Rows[i]
}

// TestNothingIsShownByDefault: with no data, no attachment and nothing said, no
// requirement of any shipped set is shown, and each says what would close it.
func TestNothingIsShownByDefault(t *testing.T) {
	names, err := accreditation.Names(rules.FS)
	if err != nil || len(names) < 2 {
		t.Fatalf("%v, %v", names, err)
	}
	empty := &accreditation.Material{Options: material(t).Options}
	for _, name := range names {
		s, err := accreditation.Load(name, rules.FS)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range accreditation.Build(s, empty).Rows {
			if r.Status != accreditation.NotShown || r.Gap == "" {
				t.Errorf("%s %s: %s, gap %q", name, r.Identifier, r.Status, r.Gap)
			}
		}
	}
}

func TestStatusFollowsFromWhatIsThere(t *testing.T) {
	s := set(t, `
- {identifier: signed, section: "1", text: Signed., data: {measure: signed-in-time, least: 0.9}}
- {identifier: strict, section: "1", text: Signed., data: {measure: signed-in-time, least: 0.95}}
- {identifier: both, section: "2", text: Signed with proof., data: {measure: signed-in-time, least: 0.9}, attachment: proof}
- {identifier: policy, section: "3", text: A policy., attachment: the policy}
- {identifier: none, section: "4", text: Stress., attachment: the protocol}
- {identifier: volume, section: "5", text: Enough., data: {volume: {of: reader, least: 6}}}
- {identifier: retention, section: "6", text: Kept., data: {retention: {years: 5}}}
- {identifier: archive, section: "7", text: Archived., data: {archive: true}}
`)
	m := material(t)
	status := func() map[string]accreditation.Status {
		out := map[string]accreditation.Status{}
		for _, r := range accreditation.Build(s, m).Rows {
			out[r.Identifier] = r.Status
		}
		return out
	}
	want := map[string]accreditation.Status{
		"signed": accreditation.ByData, "strict": accreditation.NotShown, "both": accreditation.Partly, "policy": accreditation.NotShown, "none": accreditation.NotShown,
		"volume": accreditation.NotShown, "retention": accreditation.ByData, "archive": accreditation.ByData,
	}
	hold := func() {
		t.Helper()
		for name, is := range status() {
			if is != want[name] {
				t.Errorf("%s: %s, want %s", name, is, want[name])
			}
		}
	}
	hold()
	file := &accreditation.File{Name: "p.pdf", SHA256: "00", Bytes: 1}
	m.Attachments = []accreditation.Attachment{
		{Set: "own", Requirement: "policy", File: file, By: "quality-manager", At: "2026-05-01T00:00:00Z"},
		{Set: "own", Requirement: "both", File: file, By: "quality-manager", At: "2026-05-01T00:00:00Z"},
		{Set: "own", Requirement: "none", NotApplicable: "no stress echo here", By: "quality-manager", At: "2026-05-01T00:00:00Z"},
		{Set: "other", Requirement: "strict", NotApplicable: "of another set", By: "quality-manager", At: "2026-05-01T00:00:00Z"},
	}
	want["policy"], want["both"], want["none"] = accreditation.ByAttachment, accreditation.ByData, accreditation.NotApplicable
	hold()
	m.Attachments = m.Attachments[1:]     // the first was taken back
	m.Attachments[0].Until = "2026-06-30" // has passed
	want["policy"], want["both"] = accreditation.NotShown, accreditation.Partly
	hold()
	if gap := row(t, accreditation.Build(s, m), "both").Gap; !strings.Contains(gap, "valid until 2026-06-30") {
		t.Errorf("gap of a lapsed attachment: %q", gap)
	}
	// What is said where there is no file shows in part, and closes no gap.
	m.Attachments = append(m.Attachments, accreditation.Attachment{Set: "own", Requirement: "policy", Statement: "on paper in room 3", By: "quality-manager", At: "2026-05-01T00:00:00Z"})
	want["policy"] = accreditation.Partly
	hold()
	if e := row(t, accreditation.Build(s, m), "policy"); e.Gap != "attach the policy" || len(e.Evidence) != 1 || !strings.Contains(e.Evidence[0], "on paper in room 3, stated by the quality-manager") {
		t.Errorf("of a statement: %+v", e)
	}
	// Of a year that is not over, eleven months are brought to a year: 5 become 5.
	if e := row(t, accreditation.Build(s, m), "volume"); !strings.Contains(e.Gap, "2 of 2 below 6") {
		t.Errorf("%+v", e)
	}
}

// TestQuartersThatAreOverAreAskedFor: cases and readings are wanted in each quarter
// that is over; a reader's own case is no second reading.
func TestQuartersThatAreOverAreAskedFor(t *testing.T) {
	s := set(t, `
- {identifier: cases, section: "1", text: Cases., data: {cases: {least: 1}}}
- {identifier: again, section: "2", text: Again., data: {readings: {least: 1}}}
- {identifier: met, section: "3", text: Meetings., data: {meetings: {least: 2, everyone: true}}}
- {identifier: acted, section: "4", text: Actions., data: {actions: true}}
`)
	m := material(t)
	d := review.Draw{Number: 1}
	for i, date := range []string{"2026-02-01", "2026-05-01", "2026-08-01", "2026-11-01"} {
		d.Cases = append(d.Cases, review.Case{Number: i + 1, Date: date, Readers: []string{"p-a"}})
	}
	m.Draws = []review.Draw{d}
	x := 1.0
	for i := range 3 {
		m.Entries = append(m.Entries, review.Entry{Draw: 1, Reader: []string{"p-b", "p-b", "p-a"}[i], Rows: []review.Again{{Case: i + 1, Item: "lvot-diameter", Value: &x}}})
	}
	m.Staff = map[string]string{"p-a": "reader", "p-s": "sonographer"}
	m.Meetings = []accreditation.Meeting{{Date: "2026-03-03", Present: []string{"p-a"}}, {Date: "2026-09-03", Present: []string{"p-a"}}}
	b := accreditation.Build(s, m)
	if r := row(t, b, "cases"); r.Status != accreditation.ByData {
		t.Errorf("the fourth quarter is not over: %+v", r)
	}
	if r := row(t, b, "again"); r.Status != accreditation.NotShown || !strings.Contains(r.Gap, "2026-Q3") || strings.Contains(r.Gap, "2026-Q1") {
		t.Errorf("%+v", r)
	}
	if r := row(t, b, "met"); r.Status != accreditation.NotShown || !strings.Contains(r.Gap, "1 of 2") {
		t.Errorf("%+v", r)
	}
	m.Meetings[1].Informed = []string{"p-s"}
	m.Actions = []actionlog.Action{{Number: 1, Title: "x", Started: day("2026-02-01"), Due: day("2026-03-01")}}
	b = accreditation.Build(s, m)
	if r := row(t, b, "met"); r.Status != accreditation.ByData {
		t.Errorf("%+v", r)
	}
	if r := row(t, b, "acted"); r.Status != accreditation.NotShown || !strings.Contains(r.Gap, "overdue") {
		t.Errorf("%+v", r)
	}
	m.Actions[0].Closed = day("2026-04-01")
	if r := row(t, accreditation.Build(s, m), "acted"); r.Status != accreditation.ByData {
		t.Errorf("%+v", r)
	}
	for _, table := range accreditation.Build(s, m).Tables {
		if strings.Contains(fmt.Sprint(table), "p-") {
			t.Errorf("%s holds a pseudonym", table.Identifier)
		}
	}
}

func TestFaultySetsAreTold(t *testing.T) {
	for text, want := range map[string]string{
		"- {identifier: a, text: A.}":                                                            "how it is shown",
		"- {identifier: a, text: A., data: {}}":                                                  "one thing is counted",
		"- {identifier: a, text: A., data: {measure: nonsense}}":                                 "unknown measure",
		"- {identifier: a, text: A., data: {volume: {of: cook, least: 3}}}":                      "whose studies",
		"- {identifier: a, text: A., data: {cases: {least: 0}}}":                                 "at least how many",
		"- {identifier: a, text: A., attachment: x}\n- {identifier: a, text: B., attachment: y}": "stands twice",
	} {
		if _, err := accreditation.Load("own", layer(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", text, err)
		}
	}
	if _, err := accreditation.Load("nobody", rules.FS); err == nil || !strings.Contains(err.Error(), "iac-adult-2021") {
		t.Errorf("a set that is not there: %v", err)
	}
	if _, err := accreditation.Load("../x", rules.FS); err == nil {
		t.Error("a path was taken for a set")
	}
}

// A prepared list with the column left empty says that nobody took part; a list of
// names alone, that all did.
func TestAttendanceIsReadByLine(t *testing.T) {
	list, faults := accreditation.ReadAttendance([][]string{{"Name", "took part"}, {"Marrow^Ines", "present"}, {"Tallow^Per", ""}, {"", "present"}, {"Hallam^Piet", "Read"}, {"X", "maybe"}})
	if len(list) != 2 || list[0].ReadByHand || !list[1].ReadByHand || len(faults) != 2 || !strings.Contains(faults[0], "line 4") || strings.Contains(fmt.Sprint(faults), "X") {
		t.Errorf("%+v, %v", list, faults)
	}
	if list, faults = accreditation.ReadAttendance([][]string{{"name"}, {"Marrow^Ines"}, {"Tallow^Per"}}); len(list) != 2 || len(faults) != 0 {
		t.Errorf("%+v, %v", list, faults)
	}
}

// TestWhatCannotBeToldShowsNothing: one study in time of ten whose times nobody knows
// is no lab that signs in time; nine of ten with one unknown are.
func TestWhatCannotBeToldShowsNothing(t *testing.T) {
	s := set(t, `- {identifier: signed, section: "1", text: Signed., data: {measure: signed-in-time, least: 0.8}}`)
	m := material(t)
	m.Studies[1].Times = counted.Times{}
	if r := row(t, accreditation.Build(s, m), "signed"); r.Status != accreditation.ByData || !strings.Contains(strings.Join(r.Evidence, "; "), "of 1 study more it cannot be told") {
		t.Errorf("%+v", r)
	}
	for i := range 9 {
		m.Studies[i].Times = counted.Times{}
	}
	b := accreditation.Build(s, m)
	if r := row(t, b, "signed"); r.Status != accreditation.NotShown || !strings.Contains(r.Gap, "of 9 of 10 studies it cannot be told: 1 are shown") {
		t.Errorf("%+v", r)
	}
	untold := 0
	for _, r := range tableOf(t, b, "studies-signed-in-time").Rows {
		if r[2].Text == "cannot tell" {
			untold++
		}
	}
	if untold != 9 {
		t.Errorf("%d studies listed as not told", untold)
	}
}
