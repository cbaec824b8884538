package accreditation

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/counted"
	"echotally/internal/layout"
	"echotally/internal/review"
	"echotally/internal/stats"
	"echotally/internal/table"
)

// Status is how far a requirement is shown.
type Status string

// Statuses, the best first. None is given by default: what was not counted,
// attached or said is not shown.
const (
	ByData        Status = "shown by data"
	ByAttachment  Status = "shown by attachment"
	Partly        Status = "partly shown"
	NotShown      Status = "not shown"
	NotApplicable Status = "not applicable"
)

// Material is what a lab has to show.
type Material struct {
	Options     audit.Options   // period, targets, standard, keyed hash
	Studies     []counted.Study // of the period
	Oldest      time.Time       // date of the oldest study that is kept
	Staff       map[string]string
	Draws       []review.Draw
	Entries     []review.Entry
	Actions     []actionlog.Action
	Meetings    []Meeting    // that were not withdrawn
	Attachments []Attachment // of all sets, that were not withdrawn
}

// Binder is the evidence for a set of requirements.
type Binder struct {
	Set    *Set
	Rows   []Row
	Tables []table.Table // of evidence, one for each requirement that has one
}

// Row is a requirement with what shows it.
type Row struct {
	Requirement
	Status   Status
	Evidence []string
	Gap      string // what is missing and what would close it, "" for nothing
	Files    []File
	Course   *Course // of the figure over the months; nil where it has none
	Ahead    []Due   // what has to be done for it in the months to come
}

// Course is a figure over the months of the period.
type Course struct {
	Measure audit.Measure
	Least   float64 // what is asked for, 0 to 1
	Months  map[string]*stats.Proportion
}

// Build holds a set of requirements against what the lab has.
func Build(s *Set, m *Material) *Binder {
	b := &Binder{Set: s}
	for _, r := range s.Requirements {
		w := &work{m: m, binder: b, row: Row{Requirement: r}}
		w.settle()
		b.Rows = append(b.Rows, w.row)
	}
	return b
}

// work is one requirement while it is held against the material.
type work struct {
	m      *Material
	binder *Binder
	row    Row
}

// finding is what the data show of a requirement.
type finding struct {
	shown bool
	gap   string
}

// settle gives the requirement its status.
func (w *work) settle() {
	r := &w.row
	stated, lapsed := w.attachments()
	if r.Status == NotApplicable {
		return
	}
	var f finding
	if r.Data != nil {
		f = w.data(r.Data)
	}
	var gaps []string
	if r.Data != nil && !f.shown {
		gaps = append(gaps, f.gap)
	}
	if r.Attachment != "" && len(r.Files) == 0 {
		gaps = append(gaps, "attach "+r.Attachment)
	}
	if r.Otherwise != "" && !f.shown && len(r.Files) == 0 {
		gaps = append(gaps, "attach "+r.Otherwise)
	}
	gaps = append(gaps, lapsed...)
	r.Gap = strings.Join(gaps, "; ")
	switch {
	case r.Data == nil && len(r.Files) > 0:
		r.Status = ByAttachment
	case r.Data == nil && stated:
		r.Status = Partly
	case r.Data == nil:
		r.Status = NotShown
	case f.shown && (r.Attachment == "" || len(r.Files) > 0):
		r.Status = ByData
	case f.shown || len(r.Files) > 0 || stated:
		r.Status = Partly
	default:
		r.Status = NotShown
	}
}

// attachments takes in what was attached and said, and tells what has lapsed.
func (w *work) attachments() (stated bool, lapsed []string) {
	r := &w.row
	today := w.m.Options.Cutoff.UTC().Format(time.DateOnly)
	for _, a := range w.m.Attachments {
		if a.Set != w.binder.Set.Identifier || a.Requirement != r.Identifier {
			continue
		}
		on, line := a.At[:min(10, len(a.At))], ""
		switch {
		case a.NotApplicable != "":
			r.Status = NotApplicable
			r.Evidence = append(r.Evidence, fmt.Sprintf("said not to apply by the %s on %s: %s", a.By, on, a.NotApplicable))
			continue
		case a.Until != "" && a.Until < today:
			lapsed = append(lapsed, fmt.Sprintf("attachment %d was valid until %s", a.Number, a.Until))
			continue
		case a.Statement != "":
			stated = true
			line = fmt.Sprintf("attachment %d: %s, stated by the %s on %s", a.Number, a.Statement, a.By, on)
		default:
			r.Files = append(r.Files, *a.File)
			line = fmt.Sprintf("attachment %d: %s, attached by the %s on %s", a.Number, a.named(), a.By, on)
		}
		if a.Until != "" {
			line += ", valid until " + a.Until
			w.due(a.Until, "renew attachment %d, %s", a.Number, a.named())
		}
		r.Evidence = append(r.Evidence, line)
	}
	return stated, lapsed
}

// data counts what the data show.
func (w *work) data(d *Data) finding {
	switch {
	case d.Measure != "":
		return w.measure(d)
	case d.Volume != nil:
		return w.volume(d.Volume)
	case d.Cases != nil:
		return w.perQuarter(d.Cases, "cases were drawn at random", "draw cases (echotally review draw)", false)
	case d.Readings != nil:
		return w.perQuarter(d.Readings, "cases were read again by a second reader", "have cases read again (echotally review sheet, review enter)", true)
	case d.Meetings != nil:
		return w.meetings(d.Meetings)
	case d.Retention != nil:
		return w.retention(d.Retention)
	case d.Correlate != nil:
		return w.correlation(d.Correlate)
	case d.Justified:
		return w.appropriateness()
	case d.Archive:
		return w.archive()
	}
	return w.actions()
}

func (w *work) say(format string, args ...any) {
	w.row.Evidence = append(w.row.Evidence, fmt.Sprintf(format, args...))
}

// table adds a table of evidence, once where several requirements rest on it.
func (w *work) table(name string, t table.Table) {
	t.Identifier = "evidence-" + name
	if !slices.ContainsFunc(w.binder.Tables, func(o table.Table) bool { return o.Identifier == t.Identifier }) {
		w.binder.Tables = append(w.binder.Tables, t)
	}
}

// measure counts a measure of the audit over the studies of the period. Of a lower
// bound the exact interval is shown beside, since it covers what it says.
func (w *work) measure(d *Data) finding {
	m, _ := w.m.Options.Find(d.Measure)
	least := d.Least
	from := "the requirement"
	if least == 0 {
		least, from = m.Target, "the lab's target"
	}
	p, months, untold := stats.Proportion{}, map[string]*stats.Proportion{}, 0
	for i := range w.m.Studies {
		s := &w.m.Studies[i]
		counted, met := m.Of(s)
		if !counted {
			if m.Untold != nil && m.Untold(s) {
				untold++
			}
			continue
		}
		month := s.Date.Format("2006-01")
		if months[month] == nil {
			months[month] = &stats.Proportion{}
		}
		for _, to := range []*stats.Proportion{&p, months[month]} {
			to.Total++
			if met {
				to.Count++
			}
		}
	}
	if p.Total == 0 {
		return finding{gap: "no study could be counted: " + m.Meaning}
	}
	exact := p.ClopperPearson(table.Confidence)
	w.say("%s: %d of %d studies (%.1f %%; 95 %% exact %.1f to %.1f %%), at least %.0f %% by %s", m.Title, p.Count, p.Total, 100*p.Value(), 100*exact.Low, 100*exact.High, 100*least, from)
	t := table.Table{Title: m.Title, Note: "Counted: " + m.Meaning + ".", Columns: []table.Column{
		{Identifier: "month", Title: "Month", Kind: table.Words, Meaning: "month of the study"}, {Identifier: "share", Title: "Share", Kind: table.Share, Meaning: m.Meaning},
	}}
	for _, month := range slices.Sorted(keys(months)) {
		t.Add(table.TextCell(month), table.ShareCell(*months[month]))
	}
	name := strings.NewReplacer(":", "-", "/", "-").Replace(m.Identifier)
	w.table(name, t)
	w.listMet(name, m)
	w.row.Course = &Course{Measure: m, Least: least, Months: months}
	f := w.reached(p, untold, least)
	if d.Cover != "" {
		f = w.covered(d.Cover, f)
	}
	return f
}

// listMet lists the studies behind a measure, and which meet it.
func (w *work) listMet(name string, m audit.Measure) {
	w.list(name, m.Title, []table.Column{{Identifier: "met", Title: "Met", Kind: table.Words, Meaning: m.Meaning}}, func(s *counted.Study) []table.Cell {
		counted, met := m.Of(s)
		switch {
		case counted:
			return []table.Cell{table.TextCell(yesNo(met))}
		case m.Untold != nil && m.Untold(s):
			return []table.Cell{table.TextCell("cannot tell")}
		}
		return []table.Cell{table.TextCell("not counted")}
	})
}

// reached reports whether the least is. What cannot be told shows nothing: the least is
// reached without it, or not.
func (w *work) reached(p stats.Proportion, untold int, least float64) finding {
	if untold > 0 {
		w.say("of %s more it cannot be told", layout.CountOf(untold, "study", "studies"))
	}
	sure := stats.Proportion{Count: p.Count, Total: p.Total + untold}
	f := finding{shown: sure.Value() >= least}
	switch {
	case f.shown:
	case p.Value() >= least:
		f.gap = fmt.Sprintf("of %d of %d studies it cannot be told: %d are shown, which is %.1f %% of all, where %.0f %% are asked for", untold, sure.Total, p.Count, 100*sure.Value(), 100*least)
	default:
		f.gap = fmt.Sprintf("%.1f %% of %d studies where %.0f %% are asked for", 100*p.Value(), p.Total, 100*least)
	}
	return f
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

func personOf(s *counted.Study, role string) string {
	if role == "reader" {
		return s.Reader
	}
	return s.Sonographer
}
