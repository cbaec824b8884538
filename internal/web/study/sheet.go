package study

import (
	"bytes"
	"context"
	"html/template"
	"runtime"
	"slices"
	"strings"
	"time"

	"echotally/internal/account"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/run"
	"echotally/internal/store"
	"echotally/internal/store/waiver"
	"echotally/internal/term"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
	"echotally/internal/writer"
)

// sheetPage is the page of one study.
type sheetPage struct {
	Path           string
	Date, Station  string
	Verified       bool
	Tally          tally
	HasReport      bool
	Names          bool // shows who the study is of
	MayName        bool
	Sheet, Items   template.HTML
	Values         int // that stand in the items
	Picture        *picture
	Reasons        reasonsPart
	Earlier        *earlierPart
	Objects        []store.Object
	NotComplete    []string // what a tally alone would hide
	JudgedBy       string   // version of the rule set
	JudgedByOthers bool     // which is not the one in force
}

// state is a study as the ledger has it, with what was found of it.
type state struct {
	uid       string
	study     *echo.Study
	judgement *judgement.Judgement
	objects   []store.Object
	waivers   []waiver.Waiver // that hold
}

func read(ctx context.Context, lab *frame.Lab, uid string) (*state, error) {
	st := &state{uid: uid}
	var err error
	if st.judgement, st.study, err = lab.Ledger.Latest(ctx, uid); err != nil {
		return nil, err
	}
	if st.objects, err = lab.Ledger.ObjectsOf(ctx, uid); err != nil {
		return nil, err
	}
	all, err := lab.Ledger.Waivers(ctx, uid)
	st.waivers = slices.DeleteFunc(all, func(w waiver.Waiver) bool { return w.Withdrawn })
	if len(st.objects) == 0 && st.study == nil {
		err = frame.ErrNotFound // purged since
	}
	return st, err
}

// Sheet is the page of a study with its gap sheet. It is made once while nothing is
// recorded of the study or of another one of the person; with the patient's name, each
// time.
func (p *Pages) Sheet(c *frame.Call) error {
	ctx := c.R.Context()
	uid, err := c.Lab.UID(ctx, c.R.PathValue("token"))
	if err != nil {
		return err
	}
	c.About(uid)
	version, err := c.Lab.Ledger.Version(ctx, uid)
	if err != nil {
		return err
	}
	return c.Kept("study "+version, func(c *frame.Call) error { return p.sheet(c, uid) })
}

func (p *Pages) sheet(c *frame.Call, uid string) error {
	p.sheets.Do(func() { p.turns = make(chan struct{}, runtime.GOMAXPROCS(0)) })
	p.turns <- struct{}{} // more at a time would only take memory, and the time of pages that are ready
	defer func() { <-p.turns }()
	ctx := c.R.Context()
	st, err := read(ctx, c.Lab, uid)
	if err != nil {
		return err
	}
	page := &sheetPage{Path: c.Lab.Study(uid), Objects: st.objects, HasReport: st.study != nil, MayName: c.Session.Has(account.Sonographer, account.Reader)}
	page.Names = page.MayName && c.R.URL.Query().Get("names") != ""
	if page.Names {
		c.As(trail.PatientRecord)
		who, err := c.Lab.Ledger.Identity(ctx, uid)
		if err != nil {
			return err
		}
		if st.study != nil {
			st.study.Identity = who
		}
	}
	if err := p.fill(c, page, st); err != nil {
		return err
	}
	return c.Page(frame.View{Title: "Gap sheet", Name: "sheet", Data: page, Scripts: []string{"sheet.js"}, Styles: []string{"sheet.css"}})
}

func (p *Pages) fill(c *frame.Call, page *sheetPage, st *state) (err error) {
	lab := c.Lab
	r := &run.Run{Created: c.Now(), SoftwareVersion: lab.Desk().SoftwareVersion, Measurands: lab.Desk().Library.Measurands, Windows: lab.Desk().Library.Terms.Ordered(term.Window), Studies: 1}
	one := &run.Study{StudyInstanceUID: st.uid, Study: st.study, Judgement: st.judgement}
	for _, o := range st.objects {
		one.Objects = append(one.Objects, run.Object{
			Path: "object " + o.SOPInstanceUID, SHA256: o.SHA256, SOPInstanceUID: o.SOPInstanceUID, SOPClassUID: o.SOPClassUID, Image: o.Image,
			StudyInstanceUID: st.uid, State: run.State(o.State), Reason: o.Reason,
		})
	}
	if j := st.judgement; j != nil {
		r.RuleSet, r.SoftwareVersion = j.Library, j.SoftwareVersion
		page.JudgedBy, page.JudgedByOthers = j.Library.Version, j.Library.Digest != lab.Desk().Library.Digest
		page.Tally = tallyOfJudgement(j, st.waivers)
	}
	if page.Sheet, err = html(func(b *bytes.Buffer) error {
		return p.articles.GapSheet(b, r, one, writer.Options{Identify: page.Names})
	}); err != nil {
		return err
	}
	if st.study == nil {
		return nil
	}
	if page.Items, err = html(func(b *bytes.Buffer) error { return p.articles.Items(b, r, one) }); err != nil {
		return err
	}
	page.Values = len(st.study.Measurements)
	page.Date, page.Station = day(st.study.StudyDate), stationOf(st.study)
	page.Picture = newPicture(lab.Desk().Library, st)
	page.Reasons = reasonsOf(c, st)
	page.Earlier, err = newEarlier(c, st)
	return err
}

// html is what a writer of pages has written, which it escaped.
func html(write func(*bytes.Buffer) error) (template.HTML, error) {
	var b bytes.Buffer
	err := write(&b)
	return template.HTML(b.String()), err
}

// day writes a DICOM date as people do.
func day(da string) string {
	if t, err := time.Parse("20060102", da); err == nil {
		return t.Format(time.DateOnly)
	}
	return da
}

func stationOf(s *echo.Study) string {
	for _, d := range s.Documents {
		if d.Equipment.StationName != "" {
			return d.Equipment.StationName
		}
	}
	return ""
}

// tallyOfJudgement counts as [tallyOf] does.
func tallyOfJudgement(j *judgement.Judgement, waivers []waiver.Waiver) tally {
	var t tally
	for i := range j.Results {
		r := &j.Results[i]
		t.count(r.About, r.Outcome, r.Severity, waivers)
	}
	return t
}

// count counts the result of a rule that asks for something.
func (t *tally) count(about *finding.About, outcome finding.Outcome, severity finding.Severity, waivers []waiver.Waiver) {
	switch grave := severity.Rank() > finding.Information.Rank(); {
	case outcome == finding.Open && !about.PerLab && !about.OpenPerLab:
		t.Untold++
	case outcome == finding.Review && !about.PerLab:
		t.Look++
	case outcome != finding.Fail || !grave:
	case about.Kind == finding.Consistency:
		t.Contradictions++
	case about.Kind == finding.Form:
		t.Record++
	default:
		t.Missing++
		if slices.ContainsFunc(waivers, func(w waiver.Waiver) bool { return w.Rule == about.Identifier }) {
			t.Reasons++
		}
	}
}

// spaced writes a name of the program's files as words.
func spaced(name string) string { return strings.ReplaceAll(name, "-", " ") }
