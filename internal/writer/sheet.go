package writer

import (
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/layout"
	"echotally/internal/measurand"
	"echotally/internal/run"
	"echotally/internal/writer/withhold"
)

// nothing is said in place of the sheets when there was no study: an empty page
// would look like one without findings.
const nothing = "No study was found: nothing was checked."

// page is what every page says of the run, and what belongs to no study.
type page struct {
	Caution, Created, Software, RuleSet string
	Studies                             int
	Unread                              []objectLine

	measurands *measurand.Catalogue
	windows    []string
}

// sheet is the gap sheet of one study in the order in which it is read: what to
// take while the patient is there, what contradicts itself, what may stand under
// an unknown code, notes, and what was looked at. The text and the HTML format
// only lay it out.
type sheet struct {
	Anchor   string // unique within the page
	UID      string
	Number   int    // of the study among those of the page, from 1 on
	Where    string // the paths of its reports, or where else it was found
	Date     string
	Patient  []string // name, id, accession number; nil unless asked for
	Reports  []reportLine
	Images   string // how many were given and looked at
	Acquired *acquired
	Measured int // NUM items that are results
	Unnamed  int // of those, without a measurand

	Take    []windowGroup // what to take now, by scanning window
	Untrue  []entry       // what contradicts itself, and what a person must look at
	Record  []entry       // the record itself is not in order
	Joint   []string      // which value is likely wrong, all taken together
	Codes   []codeLine    // values that may be what a check lacks
	Open    []string      // what could not be checked, by what it lacks
	Excused string        // what is absent with the reason recorded
	Notes   []noteGroup
	NotRead []objectLine

	Several  []severalLine // only when asked for
	Appendix []entry       // every check, only when asked for

	Protocols []protocolLine
	Counts    counts
	Failed    string // why the study was not judged to the end, a fault of the program
}

// line is what the overview shows of the sheet.
func (s *sheet) line() *line {
	return &line{Anchor: s.Anchor, Date: s.Date, UID: s.UID, Counts: s.Counts, Where: s.Where, NotRead: len(s.NotRead)}
}

// entry is one result in words.
type entry struct {
	Number   int // as printed; 0 when the entry is not numbered
	Mark     string
	Word     string
	Title    string
	Message  string
	Usage    string
	Obtain   string
	Evidence [][]evidenceLine // by quantity, the value that counts first
	Placed   bool             // say where each value stands, also those that do not count
	Causes   []string
	Suspect  string
	Rule     string // identifier and version
	Source   string
}

type windowGroup struct {
	Window  string
	Entries []entry
}

// noteGroup is notes of one kind, a line each.
type noteGroup struct {
	Title string
	Lines []string
}

// severalLine is a measurand with more than one value.
type severalLine struct {
	Title  string
	Counts string // the value that counts
	Why    string
	View   string
	Where  string // its place, "" when it is a mean formed here
	Number int
	Range  string
}

type reportLine struct {
	Letter, UID, Kind, Flags, Device, Path string
	Notes                                  []string
}

type objectLine struct{ Path, State, Reason, Hint string }

type protocolLine struct{ Title, How string }

type counts struct {
	Errors, Warnings, Information, Review, Open, Excused, Pass, NotApplicable int
	PerLab                                                                    int // notes about how the lab reports, which stand in its audit
}

func newPage(r *run.Run) *page {
	return &page{
		Caution: layout.Caution, Created: r.Created.Format("2006-01-02 15:04 MST"), Software: "echotally " + r.SoftwareVersion,
		RuleSet: ruleSetWords(r.RuleSet), Studies: r.Studies, Unread: objectLines(r.Unread), measurands: r.Measurands, windows: r.Windows,
	}
}

// ruleSetWords names the rule set by its version and the beginning of its
// digest, enough to tell two apart by eye.
func ruleSetWords(r judgement.Library) string {
	digest := r.Digest[:min(len(r.Digest), 12)]
	if r.Version != digest {
		digest = r.Version + " (" + digest + ")"
	}
	return fmt.Sprintf("rule set %s, %d rules, guideline edition %s", digest, r.Rules, r.Edition)
}

func (p *page) sheet(s *run.Study, opt Options) *sheet {
	out := &sheet{
		Anchor: "study-" + s.StudyInstanceUID, UID: s.StudyInstanceUID, Number: s.Number, Where: whereOf(s), Images: imagesWords(s),
		NotRead: objectLines(s.Objects), Failed: s.Failed,
	}
	if s.Study == nil {
		return out
	}
	b := &sheetBuilder{
		measurands: p.measurands, windows: p.windows, study: s, sheet: out, letters: map[string]string{}, withhold: withhold.New(s.Study.Identity),
		coded: map[string]bool{}, doubted: map[*echo.Image]bool{},
	}
	b.head(opt)
	if s.Judgement != nil {
		b.judged(s.Judgement, opt)
	}
	return out
}

// judged puts the judgement on the sheet.
func (b *sheetBuilder) judged(j *judgement.Judgement, opt Options) {
	out := b.sheet
	b.protocols(j.Protocols)
	var open []*finding.Result
	for i := range j.Results {
		switch r := &j.Results[i]; {
		case r.Outcome != finding.Open:
			b.place(r)
		case r.OpenPerLab || r.PerLab:
			out.Counts.PerLab++
		default:
			open = append(open, r)
			out.Counts.Open++
		}
	}
	out.Counts.NotApplicable = len(j.NotApplicable)
	if opt.All {
		out.Several = b.several(j.Several)
	}
	out.Codes = b.codes(open)
	out.Open = b.openLines(open)
	out.Excused = b.excused(j.Results)
	out.Acquired = newAcquired(b, j.Acquisition, opt.All)
	out.Joint = b.jointLines(j.Reconciliation, len(out.Untrue)+out.Counts.Errors > 0)
	sort.SliceStable(out.Take, func(i, k int) bool { return b.windowRank(out.Take[i].Window) < b.windowRank(out.Take[k].Window) })
	sort.SliceStable(out.Notes, func(i, k int) bool { return out.Notes[i].Title < out.Notes[k].Title })
	b.number()
	if opt.All {
		all := j.All()
		for i := range all {
			e := b.entry(&all[i])
			e.Placed = true
			out.Appendix = append(out.Appendix, e)
		}
	}
}

// place puts a result on its list.
func (b *sheetBuilder) place(r *finding.Result) {
	out := b.sheet
	note := r.Severity.Rank() <= finding.Information.Rank()
	switch r.Outcome {
	case finding.Pass:
		out.Counts.Pass++
		return
	case finding.Excused:
		out.Counts.Excused++
		return
	case finding.Review:
		if r.PerLab {
			out.Counts.PerLab++
			return
		}
		out.Counts.Review++
		note = false
	default:
		if r.PerLab && note {
			out.Counts.PerLab++
			return
		}
		out.Counts.failed(r.Severity)
	}
	switch e, toTake := b.entry(r), r.Kind == finding.Completeness || r.Kind == finding.Acquisition; {
	case toTake && (!note || e.Obtain != "" || r.Kind == finding.Acquisition):
		b.take(b.windowOf(r), e)
	case note:
		b.note(noteTitles[r.Kind], e.Briefly())
	case r.Kind == finding.Form:
		out.Record = append(out.Record, e)
	default:
		out.Untrue = append(out.Untrue, e)
	}
}

// failed counts a failure by its severity.
func (c *counts) failed(s finding.Severity) {
	switch s {
	case finding.Error:
		c.Errors++
	case finding.Warning:
		c.Warnings++
	default:
		c.Information++
	}
}

// noteTitles are what notes of a kind are about.
var noteTitles = map[finding.Kind]string{
	finding.Consistency: "Numbers", finding.Completeness: "Report", finding.Acquisition: "Report", finding.Form: "Record",
}

func (b *sheetBuilder) note(title, line string) {
	for i := range b.sheet.Notes {
		if g := &b.sheet.Notes[i]; g.Title == title {
			g.Lines = append(g.Lines, line)
			return
		}
	}
	b.sheet.Notes = append(b.sheet.Notes, noteGroup{title, []string{line}})
}

func (b *sheetBuilder) take(window string, e entry) {
	for i := range b.sheet.Take {
		if g := &b.sheet.Take[i]; g.Window == window {
			g.Entries = append(g.Entries, e)
			return
		}
	}
	b.sheet.Take = append(b.sheet.Take, windowGroup{window, []entry{e}})
}

// number numbers what is not a note in the order in which it stands, the gravest
// first on each list.
func (b *sheetBuilder) number() {
	s, n := b.sheet, 0
	for _, list := range s.lists() {
		sort.SliceStable(list, func(i, j int) bool { return rankOf(list[i]) > rankOf(list[j]) })
		for i := range list {
			if rankOf(list[i]) > 0 {
				n++
				list[i].Number = n
			}
		}
	}
	s.sayOnce()
}

// sayOnce leaves out of later entries what an earlier one says: the other values
// of a quantity, and which value is suspect where all taken together say it.
func (s *sheet) sayOnce() {
	said := map[string]bool{}
	for _, list := range s.lists() {
		for i := range list {
			if len(s.Joint) > 0 {
				list[i].Suspect = ""
			}
			for k, g := range list[i].Evidence {
				key := g[0].What + g[0].Written + g[0].Where
				if g[0].Where != "" && said[key] {
					short := g[0]
					short.View, short.Note, short.Is = "", "", ""
					list[i].Evidence[k] = []evidenceLine{short}
				}
				said[key] = true
			}
		}
	}
}

// lists are the lists of entries in the order in which they are printed.
func (s *sheet) lists() [][]entry {
	var out [][]entry
	for _, g := range s.Take {
		out = append(out, g.Entries)
	}
	if s.RecordFirst() {
		return append(append([][]entry{s.Record}, out...), s.Untrue)
	}
	return append(out, s.Untrue, s.Record)
}

// RecordFirst says that it is not sure whose record it is, or whether it is whole:
// that comes before what it says.
func (s *sheet) RecordFirst() bool {
	return slices.ContainsFunc(s.Record, func(e entry) bool { return e.Word == finding.Error.Word() })
}

// numbers lists the numbers of the entries of a kind.
func (s *sheet) numbers(word string) []string {
	var out []string
	for _, e := range s.numbered() {
		if e.Word == word {
			out = append(out, strconv.Itoa(e.Number))
		}
	}
	return out
}

// numbered are the entries that have a number, in their order.
func (s *sheet) numbered() []entry {
	var out []entry
	for _, list := range s.lists() {
		for _, e := range list {
			if e.Number > 0 {
				out = append(out, e)
			}
		}
	}
	return out
}

// lookWord says that a person must look.
const lookWord = "look"

// Marks tell severities apart by shape, for paper without colour.
func markOf(r *finding.Result) (mark, word string) {
	switch r.Outcome {
	case finding.Pass:
		return "✓", "passed"
	case finding.NotApplicable:
		return "–", "does not apply"
	case finding.Open:
		return "…", "cannot tell"
	case finding.Excused:
		return "◇", "reason recorded"
	case finding.Review:
		return "?", lookWord
	}
	switch r.Severity {
	case finding.Error:
		return "■", finding.Error.Word()
	case finding.Warning:
		return "▲", finding.Warning.Word()
	}
	return "○", finding.Information.Word()
}

func rankOf(e entry) int {
	switch e.Word {
	case finding.Error.Word():
		return 2
	case finding.Warning.Word(), lookWord:
		return 1
	}
	return 0
}

const (
	otherWindow = "any window"
	reportWords = "in the report, no image needed"
)

func (b *sheetBuilder) windowOf(r *finding.Result) string {
	o := r.Obtain
	switch {
	case o == nil && r.Kind == finding.Completeness:
		return reportWords
	case o == nil:
		return otherWindow
	}
	if !slices.Contains(b.windows, o.Window) {
		return otherWindow
	}
	return strings.ReplaceAll(o.Window, "-", " ")
}

func (b *sheetBuilder) windowRank(window string) int {
	if i := slices.Index(b.windows, strings.ReplaceAll(window, " ", "-")); i >= 0 {
		return i
	}
	if window == reportWords {
		return len(b.windows) + 1
	}
	return len(b.windows)
}

// objectLines lists what was not read whole.
func objectLines(objects []run.Object) []objectLine {
	var out []objectLine
	for _, o := range objects {
		if o.State != run.Read && !o.Image {
			out = append(out, objectLine{o.Path, string(o.State), o.Reason, o.Hint})
		}
	}
	return out
}

// date writes a DICOM date for reading.
func date(da string) string {
	if t, err := time.Parse("20060102", da); err == nil {
		return t.Format("2006-01-02")
	}
	return da
}
