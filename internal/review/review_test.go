package review_test

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/rules"
)

func shipped(t *testing.T) (*library.Library, *review.Items) {
	t.Helper()
	lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	items, err := review.LoadItems(lib, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return lib, items
}

// frame is 90 studies of three sonographers, one of whom did few, and two scanners.
func frame() []review.Candidate {
	var out []review.Candidate
	for i := range 90 {
		who := []string{"p-a", "p-b"}[i%2]
		if i%30 == 0 {
			who = "p-c"
		}
		c := review.Candidate{Study: fmt.Sprintf("2.25.%d", 1000+i), Date: "2026-08-01", Levels: map[review.Factor]string{review.Sonographer: who, review.Scanner: []string{"one", "two", ""}[i%3]}}
		if i == 7 {
			c.Excluded = "no report that can be read"
		}
		out = append(out, c)
	}
	return out
}

func plan(quota int, by ...review.Factor) review.Plan {
	return review.Plan{Period: "2026-Q3", Quota: quota, By: by, Seed: "autumn"}
}

func draw(t *testing.T, quota int, by ...review.Factor) *review.Draw {
	t.Helper()
	d, err := review.NewDraw(1, plan(quota, by...), frame(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestAnybodyCanDrawAgain orders the frame with SHA-256 alone, as the help says it,
// and comes to the same cases.
func TestAnybodyCanDrawAgain(t *testing.T) {
	d := draw(t, 10)
	var uids []string
	for _, c := range frame() {
		if c.Excluded == "" {
			uids = append(uids, c.Study)
		}
	}
	place := func(uid string) string {
		sum := sha256.Sum256([]byte("autumn\n" + uid))
		return hex.EncodeToString(sum[:])
	}
	slices.SortFunc(uids, func(a, b string) int { return cmp.Compare(place(a), place(b)) })
	for i, c := range d.Cases {
		if c.Study != uids[i] || c.Number != i+1 {
			t.Errorf("case %d: %s, by hand %s", c.Number, c.Study, uids[i])
		}
	}
	backwards := frame()
	slices.Reverse(backwards)
	again, err := review.NewDraw(1, plan(10), backwards, nil)
	if err != nil || again.Digest != d.Digest || !slices.EqualFunc(again.Cases, d.Cases, func(a, b review.Case) bool { return a.Study == b.Study }) {
		t.Errorf("the order in which the studies are given changes the draw: %v", err)
	}
	if d.Eligible() != 89 || len(d.Exclusions()) != 1 || d.Exclusions()[0].Count != 1 {
		t.Errorf("%d could be drawn, left out %v", d.Eligible(), d.Exclusions())
	}
	if len(d.Frame) != 90 {
		t.Errorf("the frame holds %d studies", len(d.Frame))
	}
}

// TestEveryLevelIsDrawnWhereTheQuotaLasts also holds that what it does not reach is
// said, and that a large stratum gets more.
func TestEveryLevelIsDrawnWhereTheQuotaLasts(t *testing.T) {
	levels := func(d *review.Draw, factor int) map[string]int {
		out := map[string]int{}
		for _, c := range d.Cases {
			out[d.Strata[c.Stratum].Levels[factor]]++
		}
		return out
	}
	d := draw(t, 3, review.Sonographer, review.Scanner)
	if who, where := levels(d, 0), levels(d, 1); len(who) != 3 || len(where) != 3 || where[review.Unknown] == 0 || d.Shortage() != "" {
		t.Errorf("%v, %v, %q", who, where, d.Shortage())
	}
	if d := draw(t, 2, review.Sonographer); !strings.Contains(d.Shortage(), "2 of 3") {
		t.Errorf("a quota of 2 for three: %q", d.Shortage())
	}
	big := draw(t, 30, review.Sonographer)
	if who := levels(big, 0); who["p-a"] < 12 || who["p-b"] < 12 || who["p-c"] < 1 || len(big.Cases) != 30 {
		t.Errorf("by size: %v", who)
	}
	if d := draw(t, 200); len(d.Cases) != 89 || !strings.Contains(d.Shortage(), "200 cases were asked for and 89") {
		t.Errorf("%d cases, %q", len(d.Cases), d.Shortage())
	}
	drawn := 0
	for _, s := range big.Strata {
		drawn += s.Drawn
		if s.Drawn > 0 && s.Weight() < 1 {
			t.Errorf("a case stands for %v studies", s.Weight())
		}
	}
	if drawn != 30 {
		t.Errorf("%d cases in all strata", drawn)
	}
}

func TestACaseIsDrawnOnce(t *testing.T) {
	first := draw(t, 40)
	second, err := review.NewDraw(2, plan(60), frame(), []review.Draw{*first})
	if err != nil {
		t.Fatal(err)
	}
	if second.Number != 2 || len(second.Cases) != 49 {
		t.Errorf("draw %d of %d cases", second.Number, len(second.Cases))
	}
	for _, c := range second.Cases {
		if slices.ContainsFunc(first.Cases, func(o review.Case) bool { return o.Study == c.Study }) {
			t.Errorf("%s was drawn twice", c.Study)
		}
	}
	if _, err := review.NewDraw(1, plan(1), frame()[7:8], nil); err == nil || !strings.Contains(err.Error(), "no report") {
		t.Errorf("a frame of none: %v", err)
	}
}

// known is a draw of whose cases is known what was reported.
func known(t *testing.T, cases int) *review.Draw {
	t.Helper()
	d := draw(t, cases)
	for i := range d.Cases {
		d.Cases[i].Readers = []string{"p-a"}
		d.Cases[i].Reported = review.Reported{
			Values: map[string]float64{"tricuspid-regurgitation-peak-velocity": 2 + float64(i)/20, "lvot-diameter": 20},
			Grades: map[string]string{"mitral-regurgitation": []string{"mild", "moderate"}[i%2]},
		}
	}
	return d
}

// TestWorksheetsAreBlind: no worksheet in any form shows what was reported or who
// did it, and each form is read back as it was filled in.
func TestWorksheetsAreBlind(t *testing.T) {
	_, items := shipped(t)
	d := known(t, 4)
	for i := range d.Cases {
		d.Cases[i].Reported.Values["lvot-diameter"] = 17.7345
		d.Cases[i].Reported.Grades["mitral-regurgitation"] = "moderate-to-severe"
	}
	rows := d.Worksheet(items)
	if len(rows) != 4*(2+len(items.Grades)) {
		t.Fatalf("%d rows", len(rows))
	}
	var sheets [3]bytes.Buffer
	for i, write := range []func(*bytes.Buffer, []review.Row) error{
		func(b *bytes.Buffer, r []review.Row) error { return review.WriteCSV(b, r) },
		func(b *bytes.Buffer, r []review.Row) error { return review.WriteJSON(b, r) },
		func(b *bytes.Buffer, r []review.Row) error { return review.WriteXLSX(b, r) },
	} {
		if err := write(&sheets[i], rows); err != nil {
			t.Fatal(err)
		}
		read, err := review.ReadSheet(sheets[i].Bytes())
		if err != nil || len(read) != len(rows) {
			t.Fatalf("form %d: %d rows, %v", i, len(read), err)
		}
		for k := range read {
			if read[k].Draw != 1 || read[k].Case != rows[k].Case || read[k].Item != rows[k].Item || read[k].Study != rows[k].Study || read[k].Value != "" {
				t.Errorf("form %d, row %d: %+v", i, k, read[k])
			}
		}
		text := fmt.Sprint(read) + sheets[i].String()
		if strings.Contains(text, "17.7") || strings.Contains(text, "p-a") {
			t.Errorf("form %d shows what was reported, or by whom", i)
		}
	}
}

func TestEntriesThatCannotStandAreTold(t *testing.T) {
	_, items := shipped(t)
	d := known(t, 3)
	rows := []review.Row{
		{Draw: 1, Case: 1, Item: "lvot-diameter", Value: "20,5"},
		{Draw: 1, Case: 1, Item: "mitral-regurgitation", Value: "Moderate"},
		{Draw: 1, Case: 2, Item: "lvot-diameter", Value: " no "},
		{Draw: 1, Case: 2, Item: "mitral-regurgitation", Value: ""},
		{Draw: 1, Case: 2, Item: "mitral-regurgitation", Value: "some"},
		{Draw: 1, Case: 3, Item: "lvot-diameter", Value: "wide"},
		{Draw: 1, Case: 3, Item: "lvot-diameter", Value: "inf"},
		{Draw: 1, Case: 9, Item: "lvot-diameter", Value: "20"},
		{Draw: 2, Case: 1, Item: "lvot-diameter", Value: "20"},
		{Draw: 1, Case: 3, Item: "arm-span", Value: "20"},
		{Draw: 1, Case: 3, Study: "2.25.1", Item: "lvot-diameter", Value: "20"},
		{Draw: 1, Case: 1, Item: "lvot-diameter", Value: "21"},
		{Draw: 1, Case: 3, Item: "lvot-diameter", Value: "210"},
	}
	e, faults := d.Enter(items, nil, review.Entry{Reader: "p-x", From: "worksheet"}, rows)
	if len(e.Rows) != 3 || *e.Rows[0].Value != 20.5 || e.Rows[1].Grade != "moderate" || !e.Rows[2].NotMeasurable {
		t.Errorf("%+v", e.Rows)
	}
	var lines []int
	for _, f := range faults {
		lines = append(lines, f.Line)
	}
	if !slices.Equal(lines, []int{6, 7, 8, 9, 10, 11, 12, 13, 14}) {
		t.Errorf("told: %v", faults)
	}
	// What was entered once stays; another reader may enter it.
	if again, faults := d.Enter(items, []review.Entry{e}, review.Entry{Reader: "p-x"}, rows[:1]); len(again.Rows) != 0 || len(faults) != 1 || !strings.Contains(faults[0].Reason, "before") {
		t.Errorf("%+v, %v", again.Rows, faults)
	}
	if other, faults := d.Enter(items, []review.Entry{e}, review.Entry{Reader: "p-y"}, rows[:1]); len(other.Rows) != 1 || len(faults) != 0 {
		t.Errorf("%+v, %v", other.Rows, faults)
	}
}

func TestWhatIsReadAgainIsHeldAgainstTheRules(t *testing.T) {
	lib, _ := shipped(t)
	for text, want := range map[string]string{
		"measurements: [{measurands: [lvot-diametre], unit: mm, possible: [8, 40], within: 2, source: x}]":  "no measurand",
		"measurements: [{measurands: [lvot-diameter], unit: m/s, possible: [8, 40], within: 2, source: x}]": "not measured in",
		"measurements: [{measurands: [lvot-diameter], unit: mm, possible: [8, 40], source: x}]":             "is not said",
		"measurements: [{measurands: [lvot-diameter], unit: mm, possible: [8, 40], within: 1}]":             "no source",
		"grades: [{lesion: mitral-regurgitation, title: Mitral regurgitation, scale: [mild, awful]}]":       "no statement",
		"measurements: [{measurands: [lvot-diameter], unit: mm, within: 2, source: x}]":                     "what is possible",
		"measurements: []": "nothing is measured",
	} {
		_, err := review.LoadItems(lib, layer(text))
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", text, err)
		}
	}
}

func layer(text string) fstest.MapFS {
	return fstest.MapFS{"review/cases.yaml": {Data: []byte(text)}}
}
