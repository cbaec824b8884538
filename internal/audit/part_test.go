package audit_test

import (
	"testing"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/table"
	"echotally/internal/tally"
)

// TestStudiesBehindAFigure holds the studies behind each figure of the table of
// demands and of the headline measures against what the report counted.
func TestStudiesBehindAFigure(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	var studies []counted.Study
	for i := range 40 {
		outcome, waiver := finding.Pass, tally.Effect("")
		switch {
		case i < 7:
			outcome = finding.Fail
		case i < 10:
			outcome, waiver = finding.Fail, tally.Exception
		case i < 12:
			outcome = finding.Open
		}
		s := demanded(i, outcome, waiver)
		s.Device.Station = []string{"ROOM-1", "ROOM-2"}[i%2]
		studies = append(studies, s)
	}
	for _, station := range []string{"", "ROOM-1"} {
		opt.Only = audit.Part{Station: station}
		r := audit.Build(studies, opt)
		behind := func(measure string, as audit.As) int {
			return len(opt.Behind(studies, audit.Behind{Measure: measure, As: as}))
		}
		for _, h := range r.Headlines {
			m := h.Measure.Identifier
			if behind(m, "") != h.Now.Total || behind(m, audit.Met) != h.Now.Count || behind(m, audit.CannotTell) != h.Untold {
				t.Errorf("%s at %q: behind %d, met %d, cannot tell %d; the report has %v and %d", m, station, behind(m, ""), behind(m, audit.Met), behind(m, audit.CannotTell), h.Now, h.Untold)
			}
		}
		seen := 0
		for _, one := range r.Tables {
			if one.Identifier != "completeness" {
				continue
			}
			for _, row := range one.Rows {
				at := map[string]table.Cell{}
				for i, c := range one.Columns {
					at[c.Identifier] = row[i]
				}
				m := "rule:" + at["rule"].Text
				if behind(m, audit.NotMet) != at["missing"].Count || behind(m, audit.Reasoned) != at["excepted"].Count ||
					behind(m, audit.CannotTell) != at["cannot_tell"].Count || behind(m, "") != at["strict"].Share.Total {
					t.Errorf("%s at %q: the table has %+v", m, station, row)
				}
				seen += at["missing"].Count + at["excepted"].Count + at["cannot_tell"].Count
			}
		}
		if want := map[string]int{"": 12, "ROOM-1": 6}[station]; seen != want {
			t.Errorf("at %q %d studies are not met or cannot be told, want %d", station, seen, want)
		}
	}
	if got := len(opt.Behind(studies, audit.Behind{Measure: "no-such-measure"})); got != 0 {
		t.Errorf("%d studies behind a measure there is none of", got)
	}
}
