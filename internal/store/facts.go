package store

import (
	"slices"
	"time"

	"echotally/internal/echo"
)

// Facts are what the ledger itself asks of a study: by what it is found and
// whose it is. What figures count of it is what [Judged.Counted] says.
type Facts struct {
	Date     string   `json:"date"` // 2026-10-31, "" when no report states it
	Station  string   `json:"station,omitempty"`
	Staff    []Member `json:"staff,omitempty"`
	Verified bool     `json:"verified"` // a report that counts says VERIFIED
	Images   int      `json:"images"`
}

// Member is somebody at work on the study, by pseudonym.
type Member struct {
	Pseudonym string    `json:"pseudonym"`
	Task      echo.Task `json:"task"`
}

// factsOf reduces a study; nil gives the facts of one without a report.
func factsOf(s *echo.Study, images int) Facts {
	f := Facts{Images: images}
	if s == nil {
		return f
	}
	f.Date = day(s.StudyDate)
	model := ""
	for i := range s.Documents {
		d := &s.Documents[i]
		if d.SupersededBy != "" {
			continue
		}
		f.Verified = f.Verified || d.VerificationFlag == "VERIFIED"
		if f.Station == "" && model == "" {
			f.Station, model = d.Equipment.StationName, d.Equipment.ManufacturerModelName
		}
		for _, p := range d.Staff {
			if m := (Member{p.Pseudonym, p.Task}); p.Pseudonym != "" && !slices.Contains(f.Staff, m) {
				f.Staff = append(f.Staff, m)
			}
		}
	}
	return f
}

// day writes a DA as 2026-10-31; "" when it is none.
func day(da string) string {
	date, err := time.Parse("20060102", da)
	if err != nil {
		return ""
	}
	return date.Format(time.DateOnly)
}

func boolBit(b bool) int {
	if b {
		return 1
	}
	return 0
}
