package writer

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"echotally/internal/finding"
)

// A suspect for which the others imply nothing is listed with the rest of its
// round: alone, the other one would look like the only one.
func TestEverySuspectOfARoundIsListed(t *testing.T) {
	r := &finding.Reconciliation{Suspects: [][]finding.Suspect{{
		{Measurand: "pressure", Value: 36.9, Estimate: 51.9, Low: finding.Bound(50), High: finding.Bound(53), Unit: "mm[Hg]", Estimable: true},
		{Measurand: "atrial-pressure", Value: 15, Unit: "mm[Hg]"},
	}}}
	got := newReconciliationRecord(r).Suspects
	if len(got) != 1 || len(got[0]) != 2 || got[0][0].Implied == nil || *got[0][0].Implied != 51.9 || got[0][1].Implied != nil {
		t.Errorf("suspects %+v", got)
	}
}

// What the others leave unbounded is shown without a bound.
func TestSuspectWithoutBoundIsWritten(t *testing.T) {
	open := finding.Suspect{Measurand: "pressure", Title: "Pressure", Value: 36.9, Estimate: 51.9, Low: finding.Bound(50), High: finding.Bound(math.Inf(1)), Unit: "mm[Hg]", Estimable: true}
	r := &finding.Reconciliation{Suspects: [][]finding.Suspect{{open}}}
	if text, err := json.Marshal(newReconciliationRecord(r)); err != nil || strings.Contains(string(text), `"high"`) {
		t.Errorf("%s %v", text, err)
	}
	if line := (&sheetBuilder{}).suspectLine(r.Suspects[0]); !strings.Contains(line, "at least 50 mmHg") || strings.Contains(line, "Inf") {
		t.Error(line)
	}
}

func TestOneSlipIsToldOnce(t *testing.T) {
	got := likeliest([]finding.Hypothesis{
		{Text: "S' 13.9 cm/s instead of 0.139 cm/s (m/s taken for cm/s): then it would hold"},
		{Text: "S' 13.9 cm/s instead of 0.139 cm/s (decimal point two places off): then it would hold"},
		{Text: "S' and e' exchanged (11 cm/s, 0.139 cm/s): then it would hold"},
		{Text: "another (rare): then it would hold"},
	})
	if len(got) != 2 || !slices.Contains(got, "S' and e' exchanged (11 cm/s, 0.139 cm/s): then it would hold") {
		t.Errorf("%q", got)
	}
}
