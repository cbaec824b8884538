package agreement_test

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"echotally/internal/agreement"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/stats/reliability"
	"echotally/rules"
)

func shipped(t *testing.T) *review.Items {
	t.Helper()
	lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	items, err := review.LoadItems(lib, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return items
}

// known is a draw of whose cases is known what was reported.
func known(cases int) *review.Draw {
	d := &review.Draw{Number: 1}
	for i := range cases {
		d.Cases = append(d.Cases, review.Case{Number: i + 1, Study: fmt.Sprintf("2.25.%d", 1000+i), Date: "2026-08-01", Readers: []string{"p-a"}, Reported: review.Reported{
			Values: map[string]float64{"tricuspid-regurgitation-peak-velocity": 2 + float64(i)/20, "lvot-diameter": 20},
			Grades: map[string]string{"mitral-regurgitation": []string{"mild", "moderate"}[i%2]},
		}})
	}
	return d
}

// TestAgreementIsThatOfTheStatistics enters readings a known way off and holds the
// tables against the published statistics, which are tested where they are made.
func TestAgreementIsThatOfTheStatistics(t *testing.T) {
	items := shipped(t)
	d := known(40)
	var rows []review.Row
	var first, second []float64
	for i, c := range d.Cases {
		was := c.Reported.Values["tricuspid-regurgitation-peak-velocity"]
		is := math.Round(100*(was+0.05+0.02*float64(i%5-2))) / 100
		if i == 3 {
			is = was + 1 // outside 10 %
		}
		first, second = append(first, was), append(second, is)
		rows = append(rows,
			review.Row{Draw: 1, Case: c.Number, Item: "tricuspid-regurgitation-peak-velocity", Value: strconv.FormatFloat(is, 'f', -1, 64)},
			review.Row{Draw: 1, Case: c.Number, Item: "mitral-regurgitation", Value: "moderate"})
	}
	e, faults := d.Enter(items, nil, review.Entry{Reader: "p-x"}, rows)
	own, _ := d.Enter(items, []review.Entry{e}, review.Entry{Reader: "p-a"}, rows[:2])
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	r := agreement.Compare(items, []*review.Draw{d}, []review.Entry{e, own}, func(p string) string { return map[string]string{"p-x": "Reader 1", "p-a": "Reader 2"}[p] })
	byID := map[string][][]string{}
	for _, table := range r.Tables {
		for _, row := range table.Rows {
			var cells []string
			for i, c := range row {
				switch table.Columns[i].Kind {
				case "share":
					cells = append(cells, fmt.Sprintf("%d/%d", c.Share.Count, c.Share.Total))
				case "count":
					cells = append(cells, strconv.Itoa(c.Count))
				case "number", "estimate":
					cells = append(cells, fmt.Sprintf("%.6g", c.Number))
				default:
					cells = append(cells, c.Text)
				}
			}
			byID[table.Identifier] = append(byID[table.Identifier], cells)
		}
	}
	a := reliability.NewAgreement(first, second, reliability.Usual, 0.95)
	got := byID["agreement"]
	if len(got) != 2 || got[0][2] != "another reader" || got[0][3] != "40" || got[0][4] != fmt.Sprintf("%.6g", a.Bias) || got[0][6] != fmt.Sprintf("%.6g", a.Upper) || got[0][12] != "39/40" {
		t.Errorf("%v, bias %v", got, a.Bias)
	}
	if len(got) == 2 && (got[1][2] != "same reader" || got[1][3] != "1" || got[1][4] != "NaN") {
		t.Errorf("a single pair with oneself: %v", got[1])
	}
	if g := byID["grades"]; len(g) != 1 || g[0][1] != "20/40" || g[0][2] != "20/40" || g[0][3] != "0" {
		t.Errorf("half the grades agree by chance, two steps apart otherwise: %v", g)
	}
	if by := byID["readers"]; len(by) != 2 || by[0][2] != "59/80" || !strings.HasPrefix(by[0][3], "repeat the training set: most differ in mitral regurgitation") || by[1][3] != "too few to tell" {
		t.Errorf("%v", by)
	}
	if len(byID["disagreements"]) != 21 && len(byID["disagreements"]) != 22 {
		t.Errorf("%d to be talked about", len(byID["disagreements"]))
	}
	text, err := json.Marshal(byID)
	if err != nil || strings.Contains(string(text), "p-x") || strings.Contains(string(text), "p-a") {
		t.Errorf("a table holds a pseudonym: %v", err)
	}
}

// TestLearningCurvesDecide: who reads everything within the tolerance is found
// acceptable, who mostly does not is to be looked at, and the curve has its bounds.
func TestLearningCurvesDecide(t *testing.T) {
	for name, shift := range map[string]float64{"acceptable": 0, "asks for a look": 20} {
		items := shipped(t)
		d := known(30)
		e := review.Entry{Draw: d.Number, Reader: "p-second", From: "worksheet"}
		for i := range d.Cases {
			d.Cases[i].Reported = review.Reported{Values: map[string]float64{"left-ventricular-ejection-fraction-biplane": 50, "lvot-diameter": 20}}
			ef, diameter := 50+shift, 20+shift
			e.Rows = append(e.Rows, review.Again{Case: i + 1, Item: "left-ventricular-ejection-fraction-biplane", Value: &ef}, review.Again{Case: i + 1, Item: "lvot-diameter", Value: &diameter})
		}
		r := agreement.Compare(items, []*review.Draw{d}, []review.Entry{e}, func(string) string { return "Reader 1" })
		if state := r.Table("learning").Rows[0][3].Text; !strings.HasPrefix(state, name) {
			t.Errorf("%q, want %s", state, name)
		}
		if len(r.Curves) != 1 || !(r.Curves[0].Test.Accept > 0) || !(r.Curves[0].Test.Review > 0) {
			t.Errorf("%+v", r.Curves)
		}
	}
}
