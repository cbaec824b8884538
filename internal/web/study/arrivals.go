// Package study owns the pages about single studies: those that arrive, the gap sheet
// of one, and files that are checked without being kept.
//
// Everything shown was found when the study was judged; nothing is judged again.
package study

import (
	"embed"
	"slices"
	"strings"
	"sync"
	"time"

	"echotally/internal/finding"
	"echotally/internal/store"
	"echotally/internal/web/frame"
	"echotally/internal/writer"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages of studies. They keep what they have shown while the ledger does
// not change.
type Pages struct {
	lock sync.Mutex
	kept map[*frame.Lab]keptList

	articles writer.Articles
	sheets   sync.Once
	turns    chan struct{} // of those who have a sheet made
}

type keptList struct {
	change int64
	rows   []row
}

// mostArrivals is how many studies the list of arrivals shows at most.
const mostArrivals = 60

// row is a study in the list of arrivals.
type row struct {
	Path      string
	Key       string
	Date      string
	Station   string
	Protocol  string
	Since     time.Time // of the end of the study, or of its coming
	Ended     bool      // which of the two
	HasReport bool
	Judged    bool
	Images    int
	Tally     tally
}

// tally is what was found of a study, as its gap sheet counts it.
type tally struct{ Missing, Reasons, Contradictions, Record, Look, Untold int }

// Nothing says that no finding asks for anything.
func (t tally) Nothing() bool { return t.Missing+t.Contradictions+t.Record+t.Look == 0 }

// tallyOf counts the results of a study that ask for something, as the sheet does:
// notes and what only concerns how the lab reports are left out.
func tallyOf(s *store.Study) tally {
	var t tally
	for i := range s.Rules {
		outcome, severity := s.Outcome(i)
		t.count(&s.Rules[i], outcome, severity, s.Waivers)
	}
	return t
}

type arrivals struct {
	Rows     []row
	Stations []string
	Station  string // the one that is shown alone, "" for all
	Now      time.Time
}

// Arrivals is the list of studies as they come.
func (p *Pages) Arrivals(c *frame.Call) error {
	rows, err := p.rows(c)
	if err != nil {
		return err
	}
	data := arrivals{Now: c.Clock(), Station: c.R.URL.Query().Get("scanner")}
	for _, r := range rows {
		if r.Station != "" && !slices.Contains(data.Stations, r.Station) {
			data.Stations = append(data.Stations, r.Station)
		}
		if data.Station == "" || r.Station == data.Station {
			data.Rows = append(data.Rows, r)
		}
	}
	slices.Sort(data.Stations)
	return c.Page(frame.View{Title: "Arrivals", Name: "arrivals", Data: data, Scripts: []string{"live.js"}, Wide: true})
}

// rows is the list as the ledger has it now.
func (p *Pages) rows(c *frame.Call) ([]row, error) {
	ctx := c.R.Context()
	change, err := c.Lab.Ledger.Change(ctx)
	if err != nil {
		return nil, err
	}
	p.lock.Lock()
	defer p.lock.Unlock()
	if kept, ok := p.kept[c.Lab]; ok && kept.change == change {
		return kept.rows, nil
	}
	all, err := c.Lab.Ledger.Arrivals(ctx, mostArrivals)
	if err != nil {
		return nil, err
	}
	rows := make([]row, 0, len(all))
	for _, a := range all {
		rows = append(rows, rowOf(c.Lab, a))
	}
	if p.kept == nil {
		p.kept = map[*frame.Lab]keptList{}
	}
	p.kept[c.Lab] = keptList{change, rows}
	return rows, nil
}

func rowOf(lab *frame.Lab, a *store.Arrival) row {
	r := row{
		Path: lab.Study(a.UID), Key: lab.Token(a.UID)[:8], Date: a.Date, Station: a.Station, Protocol: protocolWords(a.Protocols),
		Since: a.Came, HasReport: a.HasReport(), Judged: a.Judged, Images: a.Images, Tally: tallyOf(&a.Study),
	}
	if !a.Times.Ended.IsZero() {
		r.Since, r.Ended = a.Times.Ended, true
	}
	return r
}

func protocolWords(p finding.Protocols) string {
	var out []string
	for _, one := range append([]finding.Chosen{p.Base}, p.Triggered...) {
		if one.Title != "" {
			out = append(out, one.Title)
		}
	}
	return strings.Join(out, ", ")
}
