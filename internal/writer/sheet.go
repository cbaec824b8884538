package writer

import (
	"fmt"
	"sort"
	"strings"
	"time"

	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/layout"
	"echotally/internal/measurand"
	"echotally/internal/run"
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
}

// sheet is the gap sheet of one study in the order in which it is read. The
// text and the HTML format only lay it out.
type sheet struct {
	Anchor   string // unique within the page
	UID      string
	Date     string
	Patient  []string // name, id, accession number; nil unless asked for
	Reports  []reportLine
	Images   string // how many were given and looked at
	Acquired *acquired
	Measured int // NUM items that are results
	Unnamed  int // of those, without a measurand

	InTheWay []entry
	Missing  []windowGroup
	Excused  []entry
	Untrue   []entry
	Record   []entry  // the record itself is not in order
	Joint    []string // what the measurements say when taken together
	Several  []severalLine
	Review   []entry
	Open     []openGroup
	NotRead  []objectLine
	Worth    []entry
	Appendix []entry // every check, only when asked for

	Protocols []protocolLine
	Counts    counts
	Failed    string // why the study was not judged to the end, a fault of the program
}

// line is what the overview shows of the sheet.
func (s *sheet) line() *line {
	return &line{Anchor: s.Anchor, Date: s.Date, UID: s.UID, Counts: s.Counts, NotRead: len(s.NotRead)}
}

// entry is one result in words.
type entry struct {
	Number   int  // as printed; 0 when the entry is not numbered
	OfRecord bool // of the record itself, not of what it says
	Mark     string
	Word     string
	Title    string
	Message  string
	Usage    string
	Obtain   string
	Evidence [][]evidenceLine // by quantity, the value that counts first
	Causes   []string
	Suspect  string
	Rule     string // identifier and version
	Source   string
}

type windowGroup struct {
	Window  string
	Entries []entry
}

// openGroup gathers the checks that could not be made for the same reason.
type openGroup struct {
	Lacking string
	Checks  []string
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
	Letter, UID, Kind, Flags, Device string
	Notes                            []string
}

type objectLine struct{ Path, State, Reason, Hint string }

type protocolLine struct{ Title, How string }

type counts struct {
	Errors, Warnings, Information, Review, Open, Excused, Pass, NotApplicable int
	PerLab                                                                    int // notes about how the lab reports, which stand in its audit
}

// Missing counts the entries of all windows.
func (s *sheet) MissingCount() int {
	n := 0
	for _, g := range s.Missing {
		n += len(g.Entries)
	}
	return n
}

func newPage(r *run.Run) *page {
	return &page{
		Caution: layout.Caution, Created: r.Created.Format("2006-01-02 15:04 MST"), Software: "echotally " + r.SoftwareVersion,
		RuleSet: ruleSetWords(r.RuleSet), Studies: r.Studies, Unread: objectLines(r.Unread), measurands: r.Measurands,
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

func newSheet(measurands *measurand.Catalogue, s *run.Study, opt Options) *sheet {
	out := &sheet{Anchor: "study-" + s.StudyInstanceUID, UID: s.StudyInstanceUID, Images: imagesWords(s), NotRead: objectLines(s.Objects), Failed: s.Failed}
	if s.Study == nil {
		return out
	}
	b := &sheetBuilder{measurands: measurands, study: s, sheet: out, letters: map[string]string{}, withhold: newWithholder(s.Study.Identity)}
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
		if r := &j.Results[i]; r.Outcome == finding.Open {
			open = append(open, r)
			out.Counts.Open++
		} else {
			b.place(r)
		}
	}
	out.Counts.NotApplicable = len(j.NotApplicable)
	if opt.All {
		all := j.All()
		for i := range all {
			out.Appendix = append(out.Appendix, b.entry(&all[i]))
		}
	}
	out.Open = openGroups(open)
	out.Several = b.several(j.Several)
	out.Acquired = newAcquired(b, j.Acquisition)
	out.Joint = jointLines(j.Reconciliation)
	sort.SliceStable(out.Missing, func(i, k int) bool { return windowRank(out.Missing[i].Window) < windowRank(out.Missing[k].Window) })
	b.number()
}

// place puts a result on its list.
func (b *sheetBuilder) place(r *finding.Result) {
	out := b.sheet
	switch r.Outcome {
	case finding.Pass:
		out.Counts.Pass++
		return
	case finding.Excused:
		out.Counts.Excused++
		out.Excused = append(out.Excused, b.entry(r))
		return
	case finding.Review:
		if r.PerLab {
			out.Counts.PerLab++
			return
		}
		out.Counts.Review++
		out.Review = append(out.Review, b.entry(r))
		return
	}
	switch r.Severity {
	case finding.Error:
		out.Counts.Errors++
	case finding.Warning:
		out.Counts.Warnings++
	default:
		if r.PerLab {
			out.Counts.PerLab++
			return
		}
		out.Counts.Information++
		out.Worth = append(out.Worth, b.entry(r))
		return
	}
	switch e := b.entry(r); r.Kind {
	case finding.Consistency:
		e.Obtain = ""
		out.Untrue = append(out.Untrue, e)
	case finding.Form:
		e.OfRecord = true
		out.Record = append(out.Record, e)
	default:
		b.missing(windowOf(r.Obtain), e)
	}
}

func (b *sheetBuilder) missing(window string, e entry) {
	for i := range b.sheet.Missing {
		if g := &b.sheet.Missing[i]; g.Window == window {
			g.Entries = append(g.Entries, e)
			return
		}
	}
	b.sheet.Missing = append(b.sheet.Missing, windowGroup{window, []entry{e}})
}

// number numbers the entries in the order in which they stand, the gravest
// first on each list, and then gathers the errors at the top.
func (b *sheetBuilder) number() {
	s, n := b.sheet, 0
	take := func(list []entry) {
		sort.SliceStable(list, func(i, j int) bool { return rankOf(list[i]) > rankOf(list[j]) })
		for i := range list {
			n++
			list[i].Number = n
			if list[i].Word == wordOf(finding.Error) {
				s.InTheWay = append(s.InTheWay, list[i])
			}
		}
	}
	for _, g := range s.Missing {
		take(g.Entries)
	}
	take(s.Untrue)
	take(s.Record)
	take(s.Review)
	// A record of which it is not sure whose it is, or whether it is whole, comes before what it says.
	sort.SliceStable(s.InTheWay, func(i, k int) bool { return s.InTheWay[i].OfRecord && !s.InTheWay[k].OfRecord })
}

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
		return "?", "look"
	}
	switch r.Severity {
	case finding.Error:
		return "■", wordOf(finding.Error)
	case finding.Warning:
		return "▲", wordOf(finding.Warning)
	}
	return "○", wordOf(finding.Information)
}

func wordOf(s finding.Severity) string {
	if s == finding.Information {
		return "note"
	}
	return string(s)
}

func rankOf(e entry) int {
	switch e.Word {
	case wordOf(finding.Error):
		return 2
	case wordOf(finding.Warning):
		return 1
	}
	return 0
}

// windows in the order in which an adult study is usually scanned.
var windows = []string{"parasternal", "apical", "subcostal", "suprasternal", "right parasternal"}

const otherWindow = "any window, or no image needed"

func windowOf(o *finding.Obtain) string {
	if o == nil {
		return otherWindow
	}
	w := strings.ReplaceAll(o.Window, "-", " ")
	for _, known := range windows {
		if w == known {
			return w
		}
	}
	return otherWindow
}

func windowRank(window string) int {
	for i, w := range windows {
		if w == window {
			return i
		}
	}
	return len(windows)
}

// openGroups gathers open results by what they lack, so that one missing
// measurement is one line, not ten.
func openGroups(open []*finding.Result) []openGroup {
	var groups []openGroup
	place := map[string]int{}
	for _, r := range open {
		var lacks []string
		for _, m := range r.Missing {
			lack := m.Title
			if m.Reason != "" {
				lack += " (" + m.Reason + ")"
			}
			lacks = append(lacks, lack)
		}
		lacking := strings.Join(lacks, ", ")
		if lacking == "" {
			lacking = r.Message
		}
		i, ok := place[lacking]
		if !ok {
			i = len(groups)
			place[lacking] = i
			groups = append(groups, openGroup{Lacking: lacking})
		}
		groups[i].Checks = append(groups[i].Checks, r.Title)
	}
	sort.SliceStable(groups, func(i, j int) bool { return len(groups[i].Checks) > len(groups[j].Checks) })
	return groups
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
