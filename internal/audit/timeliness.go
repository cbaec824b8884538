package audit

import (
	"math"
	"time"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/table"
)

// Standard is how soon a study has to be read and a reading signed. The
// defaults are those of the IAC Standards and Guidelines for Adult
// Echocardiography Accreditation, 3.2.4A: inpatients read within 24 hours of the
// end of the study, outpatients by the end of the next working day, signed
// within 48 hours of the reading.
type Standard struct {
	InpatientHours float64
	OutpatientDays int // working days after the day of the study
	SignedHours    float64
	Holidays       []time.Time // no working days, besides Saturdays and Sundays
}

// DefaultStandard is the standard when the lab sets none.
func DefaultStandard() Standard {
	return Standard{InpatientHours: 24, OutpatientDays: 1, SignedHours: 48}
}

// working reports whether a day is a working day.
func (s Standard) working(d time.Time) bool {
	if d.Weekday() == time.Sunday || d.Weekday() == time.Saturday {
		return false
	}
	for _, h := range s.Holidays {
		if h.Year() == d.Year() && h.YearDay() == d.YearDay() {
			return false
		}
	}
	return true
}

// readBy is the moment by which a study has to be read.
func (s Standard) readBy(setting string, ended time.Time) time.Time {
	if setting == "inpatient" {
		return ended.Add(hours(s.InpatientHours))
	}
	day := time.Date(ended.Year(), ended.Month(), ended.Day(), 0, 0, 0, 0, ended.Location())
	for left := s.OutpatientDays; left > 0; {
		day = day.AddDate(0, 0, 1)
		if s.working(day) {
			left--
		}
	}
	return day.AddDate(0, 0, 1)
}

func (s Standard) signedBy(read time.Time) time.Time { return read.Add(hours(s.SignedHours)) }

// workingDays counts the working days begun between two moments, the first day
// not among them.
func (s Standard) workingDays(from, to time.Time) float64 {
	n, last := 0.0, to.Format(time.DateOnly)
	for d := from.AddDate(0, 0, 1); d.Format(time.DateOnly) <= last; d = d.AddDate(0, 0, 1) {
		if s.working(d) {
			n++
		}
	}
	return n
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// settled tells whether something due counts and is met: what is not yet done
// and not yet due counts neither way.
func (o *Options) settled(due, done time.Time) (counted, met bool) {
	if done.IsZero() {
		return o.Cutoff.After(due), false
	}
	return true, !done.After(due)
}

func (o *Options) readInTime(s *counted.Study) (counted, met bool) {
	if s.Times.Ended.IsZero() {
		return false, false
	}
	return o.settled(o.Standard.readBy(s.Setting, s.Times.Ended), s.Times.Read)
}

// endUnknown and untimed tell of studies that nobody's clock told of: neither in
// time nor late. A study that ended and is still to be read waits for no signature.
func endUnknown(s *counted.Study) bool { return s.Times.Ended.IsZero() }

func untimed(s *counted.Study) bool { return s.Times.Ended.IsZero() && s.Times.Read.IsZero() }

func (o *Options) signedInTime(s *counted.Study) (counted, met bool) {
	if s.Times.Read.IsZero() {
		return false, false
	}
	return o.settled(o.Standard.signedBy(s.Times.Read), s.Times.Signed)
}

// lapse is one span of time to be reported.
type lapse struct {
	title    string
	from, to func(counted.Times) time.Time
	measure  func(*counted.Study) (bool, bool)
}

func (o *Options) lapses() []lapse {
	ended := func(t counted.Times) time.Time { return t.Ended }
	read := func(t counted.Times) time.Time { return t.Read }
	signed := func(t counted.Times) time.Time { return t.Signed }
	return []lapse{
		{"End of study to reading", ended, read, o.readInTime},
		{"Reading to signature", read, signed, o.signedInTime},
	}
}

// timeliness is the table of times, whole and by setting.
func (r *builder) timeliness() table.Table {
	t := table.Table{
		Identifier: "timeliness", Title: "Timeliness",
		Note: "From the times the lab's own systems know. What is still open past its standard counts as late and is in the oldest; it is not in median and centile. Standard: IAC 3.2.4A unless the lab sets another.",
		Columns: []table.Column{
			table.NewColumn("span", "From, to", table.Words, "start and end of the span"), table.NewColumn("setting", "Setting", table.Words, "inpatient, outpatient or all"),
			table.NewColumn("in_time", "Within the standard", table.Share, "studies settled within the standard, of those settled or overdue"),
			table.NewColumn("median_hours", "Median, h", table.Number, "median of the completed spans in hours"),
			table.NewColumn("centile90_hours", "90th centile, h", table.Number, "90th centile of the completed spans in hours"),
			table.NewColumn("median_days", "Median, working days", table.Number, "median of the completed spans in working days"),
			table.NewColumn("open", "Still open", table.Count, "studies with a start and no end"),
			table.NewColumn("oldest_days", "Oldest open, days", table.Number, "days from the start of the oldest open one to the data cut-off"),
		},
	}
	for _, l := range r.opt.lapses() {
		for _, setting := range []string{"all", "inpatient", "outpatient"} {
			r.lapse(&t, l, setting)
		}
	}
	return t
}

func (r *builder) lapse(t *table.Table, l lapse, setting string) {
	var p stats.Proportion
	var spans, days []float64
	open, oldest, known := 0, math.NaN(), 0
	for _, s := range r.now {
		from, to := l.from(s.Times), l.to(s.Times)
		if from.IsZero() || setting != "all" && s.Setting != setting {
			continue
		}
		known++
		if counted, met := l.measure(s); counted {
			p.Total++
			if met {
				p.Count++
			}
		}
		if to.IsZero() {
			open++
			oldest = max(r.opt.Cutoff.Sub(from).Hours()/24, orZero(oldest))
			continue
		}
		spans, days = append(spans, to.Sub(from).Hours()), append(days, r.opt.Standard.workingDays(from, to))
	}
	if known == 0 && setting != "all" {
		return
	}
	t.Add(table.TextCell(l.title), table.TextCell(setting), table.ShareCell(p), table.NumberCell(stats.Quantile(spans, 0.5)), table.NumberCell(stats.Quantile(spans, 0.9)),
		table.NumberCell(stats.Quantile(days, 0.5)), table.CountCell(open), table.NumberCell(oldest))
}

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}
