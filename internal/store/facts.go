package store

import (
	"slices"
	"time"

	"echotally/internal/echo"
)

// Facts are what the lab's figures ask of a study apart from its results. They
// name nobody.
type Facts struct {
	Date     string       `json:"date"` // 2026-10-31, "" when no report states it
	Station  string       `json:"station,omitempty"`
	Maker    string       `json:"maker,omitempty"`
	Model    string       `json:"model,omitempty"`
	Software string       `json:"software,omitempty"`
	Sex      string       `json:"sex,omitempty"`
	AgeBand  string       `json:"ageBand,omitempty"` // 0-17, 18-29, then ten years each, 90+
	Height   float64      `json:"height,omitempty"`  // m, 0 unknown
	Weight   float64      `json:"weight,omitempty"`  // kg, 0 unknown
	Rhythm   string       `json:"rhythm,omitempty"`  // statement identifier, "" when none is stated
	Stated   []string     `json:"stated,omitempty"`  // statement identifiers the record affirms, sorted
	Staff    []Member     `json:"staff,omitempty"`
	Reports  int          `json:"reports"`            // that count
	Replaced int          `json:"replaced,omitempty"` // reports superseded by a later one
	Damaged  bool         `json:"damaged,omitempty"`  // a report that counts was read in part
	Complete bool         `json:"complete"`           // a report that counts says COMPLETE
	Verified bool         `json:"verified"`           // a report that counts says VERIFIED
	Images   int          `json:"images"`
	Coding   CodingCounts `json:"coding"`
}

// Member is somebody at work on the study, by pseudonym.
type Member struct {
	Pseudonym string    `json:"pseudonym"`
	Task      echo.Task `json:"task"`
}

// CodingCounts count how the results of the reports that count are coded.
type CodingCounts struct {
	Measurements int `json:"measurements"`
	Unnamed      int `json:"unnamed"`   // no measurand file names the code
	WantViews    int `json:"wantViews"` // taken on an image: one is referred to, or a mode is stated
	Views        int `json:"views"`     // of those, with an image view
	WrongUnit    int `json:"wrongUnit"` // not understood, a wrong spelling, or of the wrong kind
	NoValue      int `json:"noValue"`   // empty, and no qualifier says why
}

// rhythms are the statements of the group rhythm in rules/phrases.
var rhythms = []string{
	"atrial-fibrillation", "atrial-flutter", "paced-rhythm", "ventricular-paced", "supraventricular-tachycardia",
	"junctional-rhythm", "sinus-rhythm",
}

// factsOf reduces a study; nil gives the facts of one without a report.
func factsOf(s *echo.Study) Facts {
	var f Facts
	if s == nil {
		return f
	}
	f.Date = day(s.StudyDate)
	f.Sex, f.AgeBand = s.Subject.PatientSex, ageBand(s.Subject.AgeYears)
	if q := s.Subject.PatientSize; q != nil {
		f.Height = q.Value.Float()
	}
	if q := s.Subject.PatientWeight; q != nil {
		f.Weight = q.Value.Float()
	}
	for i := range s.Documents {
		f.document(&s.Documents[i])
	}
	for _, st := range s.Statements {
		if !st.Negated && !slices.Contains(f.Stated, st.Identifier) {
			f.Stated = append(f.Stated, st.Identifier)
		}
	}
	slices.Sort(f.Stated)
	for _, r := range rhythms {
		if f.Rhythm == "" && slices.Contains(f.Stated, r) {
			f.Rhythm = r
		}
	}
	for i := range s.Measurements {
		f.Coding.count(&s.Measurements[i])
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

func (f *Facts) document(d *echo.Document) {
	if d.SupersededBy != "" {
		f.Replaced++
		return
	}
	f.Reports++
	f.Damaged = f.Damaged || d.Partial
	f.Complete = f.Complete || d.CompletionFlag == "COMPLETE"
	f.Verified = f.Verified || d.VerificationFlag == "VERIFIED"
	if e := d.Equipment; f.Station == "" && f.Model == "" {
		f.Station, f.Maker, f.Model, f.Software = e.StationName, e.Manufacturer, e.ManufacturerModelName, e.SoftwareVersions
	}
	for _, p := range d.Staff {
		if m := (Member{p.Pseudonym, p.Task}); p.Pseudonym != "" && !slices.Contains(f.Staff, m) {
			f.Staff = append(f.Staff, m)
		}
	}
}

func (c *CodingCounts) count(m *echo.Measurement) {
	if m.Role != echo.Result || m.Superseded || m.DuplicateOf != nil {
		return
	}
	c.Measurements++
	c.Unnamed += boolBit(m.Measurand == "")
	if len(m.Images) > 0 || m.Modifiers.ImageMode != nil {
		c.WantViews++
		c.Views += boolBit(m.Modifiers.ImageView != nil)
	}
	wrongUnit, noValue := false, false
	for _, p := range m.Problems {
		switch p.Kind {
		case echo.UnitNotUnderstood, echo.UnitAlias, echo.UnitWrongDimension:
			wrongUnit = true
		case echo.NoValue:
			noValue = m.Qualifier == nil
		}
	}
	c.WrongUnit += boolBit(wrongUnit)
	c.NoValue += boolBit(noValue)
}
