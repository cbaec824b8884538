package audit

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/datafile"
	"echotally/internal/datafile/fault"
	"echotally/internal/spelling"
	"echotally/internal/stats/funnel"
	"echotally/internal/table"
)

// SettingsExample is a settings file that says what holds without one.
const SettingsExample = `# All of it is the lab's choice; a line that is left out keeps its value.
name: ""           # of the lab, for the pages; without it that of the list of stations
prepared: ""       # who prepares the audit, for the pages: a role
floor: 20          # studies below which no person is judged
people: 5          # people below which nobody is compared; not below 5
smallCell: 5       # counts of people below this are withheld
discovery: 0.05    # share of what is flagged that may be chance
outOfScope: [limited]   # base protocols outside completeness
targets:           # 0 to 1
  complete-strict: 0.80
  complete-with-exceptions: 0.90
  conditional-complete: 0.90
  no-contradiction: 0.95
  views-stated: 0.95
  measurements-named: 0.95
  read-in-time: 0.95
  signed-in-time: 0.95
standard:
  inpatientHours: 24   # from the end of the study to the reading
  outpatientDays: 1    # working days after the day of the study
  signedHours: 48      # from the reading to the signature
  holidays: []         # days that are no working days, such as 2026-12-25
learning:          # curves of sonographers who learn: shares of studies that lack something without a reason
  # acceptable: 0.10    left out: as the other sonographers of the lab
  # unacceptable: 0.20  left out: at twice the odds, as in Biostatistics 2000;1:441
  alpha: 0.10        # chance that an acceptable rate asks for a look; 0.10 as in HPB 2009;11:565
  beta: 0.10         # chance that an unacceptable rate passes
`

// settings is a settings file as written; what is nil was left out.
type settings struct {
	Name       *string            `yaml:"name"`
	Prepared   *string            `yaml:"prepared"`
	Floor      *int               `yaml:"floor"`
	People     *int               `yaml:"people"`
	SmallCell  *int               `yaml:"smallCell"`
	Discovery  *float64           `yaml:"discovery"`
	OutOfScope []string           `yaml:"outOfScope"`
	Targets    map[string]float64 `yaml:"targets"`
	Standard   struct {
		InpatientHours *float64 `yaml:"inpatientHours"`
		OutpatientDays *int     `yaml:"outpatientDays"`
		SignedHours    *float64 `yaml:"signedHours"`
		Holidays       []string `yaml:"holidays"`
	} `yaml:"standard"`
	Learning struct {
		Acceptable   *float64 `yaml:"acceptable"`
		Unacceptable *float64 `yaml:"unacceptable"`
		Alpha        *float64 `yaml:"alpha"`
		Beta         *float64 `yaml:"beta"`
	} `yaml:"learning"`
}

// ReadSettings puts what a lab's settings file chooses into the options. The
// error joins all faults, each with line and column.
func (o *Options) ReadSettings(file string, src []byte) error {
	var s settings
	if err := datafile.Decode(file, src, &s); err != nil {
		return err
	}
	c := &choices{places: datafile.NewPlaces(file, src)}
	c.line(&o.Name, s.Name)
	c.line(&o.Prepared, s.Prepared)
	c.whole(&o.Floor, s.Floor, "floor", 1)
	c.whole(&o.People, s.People, "people", funnel.MinimumUnits)
	c.whole(&o.SmallCell, s.SmallCell, "smallCell", 2)
	c.whole(&o.Standard.OutpatientDays, s.Standard.OutpatientDays, "standard.outpatientDays", 0)
	c.number(&o.Discovery, s.Discovery, "discovery", 0, 0.5)
	const year = 24 * 366
	c.number(&o.Standard.InpatientHours, s.Standard.InpatientHours, "standard.inpatientHours", 0, year)
	c.number(&o.Standard.SignedHours, s.Standard.SignedHours, "standard.signedHours", 0, year)
	if s.OutOfScope != nil {
		o.OutOfScope = s.OutOfScope
	}
	for i, text := range s.Standard.Holidays {
		day, err := time.Parse(time.DateOnly, text)
		if err != nil {
			c.wrong(fmt.Sprintf("standard.holidays[%d]", i), fmt.Sprintf("%q is no date", text), "write it as 2026-12-25")
			continue
		}
		o.Standard.Holidays = append(o.Standard.Holidays, day)
	}
	c.targets(o, s.Targets)
	c.learning(o, &s)
	return fault.Join(c.found)
}

// choices takes over the values of a settings file that may stand and gathers
// the faults of the others.
type choices struct {
	places *datafile.Places
	found  []error
}

func (c *choices) wrong(path, message, hint string) {
	c.found = append(c.found, c.places.Fault("$."+path, message, hint))
}

func (c *choices) line(to, from *string) {
	if from != nil {
		*to = strings.Join(strings.Fields(*from), " ")
	}
}

func (c *choices) whole(to, from *int, path string, least int) {
	switch {
	case from == nil:
	case *from < least:
		c.wrong(path, fmt.Sprintf("%d is too few", *from), fmt.Sprintf("at least %d", least))
	default:
		*to = *from
	}
}

func (c *choices) number(to, from *float64, path string, low, high float64) {
	switch {
	case from == nil:
	case !(*from > low && *from <= high):
		c.wrong(path, fmt.Sprintf("%v is out of range", *from), fmt.Sprintf("above %v, at most %v", low, high))
	default:
		*to = *from
	}
}

func (c *choices) targets(o *Options, given map[string]float64) {
	var known []string
	for _, m := range o.Headlines() {
		known = append(known, m.Identifier)
	}
	targets := map[string]float64{}
	maps.Copy(targets, o.Targets)
	for _, name := range slices.Sorted(maps.Keys(given)) {
		if !slices.Contains(known, name) {
			c.wrong("targets."+name, fmt.Sprintf("no measure %q", name), fmt.Sprintf("did you mean %q?", spelling.Nearest(name, known)))
			continue
		}
		to, share := targets[name], given[name]
		c.number(&to, &share, "targets."+name, 0, 1)
		targets[name] = to
	}
	o.Targets = targets
}

func (c *choices) learning(o *Options, s *settings) {
	l := &o.Learning
	c.number(&l.Acceptable, s.Learning.Acceptable, "learning.acceptable", 0, 0.9)
	c.number(&l.Unacceptable, s.Learning.Unacceptable, "learning.unacceptable", 0, 0.95)
	c.number(&l.Alpha, s.Learning.Alpha, "learning.alpha", 0, 0.4)
	c.number(&l.Beta, s.Learning.Beta, "learning.beta", 0, 0.4)
	if l.Unacceptable > 0 && l.Acceptable >= l.Unacceptable {
		c.wrong("learning", fmt.Sprintf("the acceptable rate %g is not below the unacceptable one %g", l.Acceptable, l.Unacceptable), "leave room between them")
	}
}

// settingsTable tells the choices that the report was counted with.
func (o *Options) settingsTable() table.Table {
	t := table.Table{
		Identifier: "settings", Title: "Settings in force",
		Note: "The lab's choices (site choice, all of them); targets stand beside their measures. The settings file of the lab changes them.",
		Columns: []table.Column{
			table.NewColumn("setting", "Setting", table.Words, "what was chosen"), table.NewColumn("value", "Value", table.Words, "the value in force"),
		},
	}
	var holidays []string
	for _, h := range o.Standard.Holidays {
		holidays = append(holidays, h.Format(time.DateOnly))
	}
	list := func(all []string) string {
		if len(all) == 0 {
			return "none"
		}
		return strings.Join(all, ", ")
	}
	for _, row := range [][2]string{
		{"Guideline edition", o.Edition},
		{"Studies below which no person is judged", strconv.Itoa(o.Floor)},
		{"People below which nobody is compared", strconv.Itoa(o.People)},
		{"Counts of people below this are withheld", strconv.Itoa(o.SmallCell)},
		{"Share of what is flagged that may be chance", fmt.Sprintf("%g", o.Discovery)},
		{"Base protocols outside completeness", list(o.OutOfScope)},
		{"Inpatients: read within", fmt.Sprintf("%g hours", o.Standard.InpatientHours)},
		{"Others: read by the end of working day", fmt.Sprintf("%d after the study", o.Standard.OutpatientDays)},
		{"Signed within", fmt.Sprintf("%g hours of the reading", o.Standard.SignedHours)},
		{"Learning curves", o.Learning.words()},
		{"Holidays, besides Saturdays and Sundays", list(holidays)},
	} {
		t.Add(table.TextCell(row[0]), table.TextCell(row[1]))
	}
	return t
}
