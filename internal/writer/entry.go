package writer

import (
	"fmt"
	"math/big"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/measurand"
	"echotally/internal/run"
	"echotally/internal/writer/withhold"
)

// evidenceLine points at a content item: what, the value as written, where.
type evidenceLine struct {
	What    string
	Written string // value and unit as written, or the words quoted
	Is      string // the value in the measurand's unit, when written otherwise
	Brief   string // the value in the measurand's unit with four digits at most
	View    string
	Where   string // report letter and position path
	Note    string
}

// sheetBuilder turns one audited study into a sheet.
type sheetBuilder struct {
	measurands *measurand.Catalogue
	windows    []string // in scanning order
	study      *run.Study
	sheet      *sheet
	letters    map[string]string // SOP Instance UID to the letter it goes by on the sheet

	withhold *withhold.Withholder
	doubted  map[*echo.Image]bool // that a finding points at
	coded    map[string]bool      // measurands that may stand under an unknown code
}

func (b *sheetBuilder) head(opt Options) {
	s, out := b.study.Study, b.sheet
	out.Date = date(s.StudyDate)
	if opt.Identify {
		who := s.Identity
		out.Patient = []string{name(who.PatientName.Reveal()), who.PatientID.Reveal(), who.AccessionNumber.Reveal()}
	}
	for i, d := range s.Documents {
		letter := letterOf(i)
		b.letters[d.SOPInstanceUID] = letter
		r := reportOf(letter, d)
		r.Path = pathOf(b.study, d.SOPInstanceUID)
		out.Reports = append(out.Reports, r)
	}
	for i := range s.Measurements {
		if m := &s.Measurements[i]; m.Role == echo.Result && m.DuplicateOf == nil && !m.Superseded {
			out.Measured++
			if m.Measurand == "" {
				out.Unnamed++
			}
		}
	}
}

// protocols names those that hold, the base protocol first.
func (b *sheetBuilder) protocols(all finding.Protocols) {
	for i, p := range append([]finding.Chosen{all.Base}, all.Triggered...) {
		if p.Title == "" {
			continue
		}
		how := p.Reason
		if i > 0 {
			how = "in addition; " + how
		}
		b.sheet.Protocols = append(b.sheet.Protocols, protocolLine{p.Title, b.withhold.From(how)})
	}
}

func letterOf(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return fmt.Sprintf("A%d", i-25)
}

// pathOf is where a report of the study was found.
func pathOf(s *run.Study, uid string) string {
	for _, o := range s.Objects {
		if o.SOPInstanceUID == uid && !o.Image && (o.State == run.Read || o.State == run.Partial) {
			return o.Path
		}
	}
	return ""
}

// whereOf is where the study was found: the path of its report, or of the first of
// its files, and how many there are of that kind.
func whereOf(s *run.Study) string {
	var reports, others []string
	for _, o := range s.Objects {
		if !o.Image && (o.State == run.Read || o.State == run.Partial) {
			reports = append(reports, o.Path)
		} else {
			others = append(others, o.Path)
		}
	}
	of, noun := reports, "report"
	if len(reports) == 0 {
		of, noun = others, "file"
	}
	switch len(of) {
	case 0:
		return ""
	case 1:
		return of[0]
	}
	return fmt.Sprintf("%s and %s more", of[0], layout.Count(len(of)-1, noun))
}

func reportOf(letter string, d echo.Document) reportLine {
	r := reportLine{Letter: letter, UID: d.SOPInstanceUID, Kind: "structured report"}
	if d.TemplateIdentifier != "" {
		r.Kind += ", TID " + d.TemplateIdentifier
	}
	r.Flags = strings.ToLower(strings.Join(layout.NonEmpty(d.CompletionFlag, d.VerificationFlag), ", "))
	r.Device = strings.Join(layout.NonEmpty(d.Equipment.Manufacturer, d.Equipment.ManufacturerModelName, d.Equipment.SoftwareVersions), " ")
	if d.SupersededBy != "" {
		r.Notes = append(r.Notes, "superseded by a later report; its values do not count")
	}
	if d.Partial {
		r.Notes = append(r.Notes, "damaged, read in part")
	}
	if n := len(d.Deviations); n > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("%d departures from the standard, tolerated", n))
	}
	return r
}

// name writes a PN value for reading: its components without carets.
func name(pn string) string {
	first, _, _ := strings.Cut(pn, "=")
	return strings.Join(strings.FieldsFunc(first, func(r rune) bool { return r == '^' }), " ")
}

func (b *sheetBuilder) entry(r *finding.Result) entry {
	e := entry{
		Title: r.Title, Message: b.withhold.From(r.Message), Usage: r.Usage,
		Suspect: b.title(r.Suspect), Rule: r.Rule + " " + r.Version, Source: r.Source,
	}
	e.Mark, e.Word = markOf(r)
	if r.Outcome == finding.Pass && r.Variant != "" {
		e.Message = "fits: " + r.Variant
	}
	if o := r.Obtain; o != nil {
		e.Obtain = strings.Join(layout.NonEmpty(o.View, o.How), ": ")
	}
	switch {
	case r.Kind == finding.Consistency:
		e.Obtain = "" // what was measured is not taken again before it is looked at
	case e.Obtain != "":
		e.Usage = "" // it says the same at greater length
	}
	for _, ev := range r.Evidence {
		if ev.Image != nil && (r.Outcome == finding.Fail || r.Outcome == finding.Review) {
			b.doubted[ev.Image] = true
		}
		line := b.evidence(ev)
		if n := len(e.Evidence); n > 0 && e.Evidence[n-1][0].What == line.What {
			if ev.Image == nil && line.View == e.Evidence[n-1][0].View {
				line.View = "" // said once; an image is known by its view
			}
			e.Evidence[n-1] = append(e.Evidence[n-1], line)
		} else {
			e.Evidence = append(e.Evidence, []evidenceLine{line})
		}
	}
	e.Causes = likeliest(r.Causes)
	if len(r.Causes) == 0 && !r.Between && r.Kind == finding.Consistency && r.Outcome == finding.Fail {
		e.Causes = []string{"none of those tried would make it hold"}
	}
	return e
}

// likeliest are the words of the two likeliest slips. Slips of one value that
// would make it the same, such as a wrong unit and a shifted point, are named
// once.
func likeliest(causes []finding.Hypothesis) []string {
	var out, told []string
	for _, c := range causes {
		what, _, _ := strings.Cut(c.Text, " (")
		if len(out) < 2 && !slices.Contains(told, what) {
			out, told = append(out, c.Text), append(told, what)
		}
	}
	return out
}

func (b *sheetBuilder) evidence(e finding.Evidence) evidenceLine {
	switch {
	case e.Measurement != nil:
		line := b.value(e.Measurement)
		line.Note = e.Note
		return line
	case e.Segment != nil:
		return evidenceLine{What: e.Segment.Site.CodeMeaning, Written: b.withhold.From(segmentText(e.Segment)), Where: b.where(e.Segment.Source), Note: e.Note}
	case e.Image != nil:
		return evidenceLine{What: "on", Written: fmt.Sprintf("image %d", e.Image.Number), View: imageView(e.Image), Note: e.Note}
	case e.Statement != nil:
		t := e.Statement
		what := strings.ReplaceAll(t.Identifier, "-", " ")
		if t.Negated {
			what = "not " + what
		}
		return evidenceLine{What: what, Written: `"` + b.withhold.From(t.Quote) + `"`, View: viewOf(t.ImageView), Where: b.where(t.Source), Note: e.Note}
	}
	return evidenceLine{Note: e.Note}
}

// Written is the value of a measurement as its report has it.
func Written(m *echo.Measurement) string {
	switch {
	case m.ValueText != "":
		return withUnit(m.ValueText, unit(m.Unit))
	case m.Qualifier != nil:
		return "no value: " + m.Qualifier.CodeMeaning
	}
	return "no value"
}

func (b *sheetBuilder) value(m *echo.Measurement) evidenceLine {
	line := evidenceLine{What: b.title(m.Measurand), View: viewOf(m.Modifiers.ImageView), Where: b.where(m.Source)}
	if line.What == "" {
		line.What = m.ConceptName.CodeMeaning
	}
	line.Written = Written(m)
	if m.Canonical != nil && m.Quantity != nil && m.Canonical.Value.Rat().Cmp(m.Quantity.Value.Rat()) != 0 {
		line.Is = withUnit(rounded(m.Canonical.Value.Rat()), unitWord(m.Canonical.Unit.Code()))
	}
	if line.Brief = line.Written; m.Canonical != nil {
		line.Brief = withUnit(rounded(m.Canonical.Value.Rat()), unitWord(m.Canonical.Unit.Code()))
	}
	return line
}

// listed is a measurement as the measurement list shows it, with what is
// remarkable about the item.
func (b *sheetBuilder) listed(m *echo.Measurement) evidenceLine {
	line := b.value(m)
	var notes []string
	switch {
	case m.Role == echo.Grade:
		notes = append(notes, "grades a finding")
	case m.Role == echo.SegmentScore:
		notes = append(notes, "scores a segment of the wall")
	case m.Measurand == "":
		notes = append(notes, "no measurand: "+m.ConceptName.CodingSchemeDesignator+":"+m.ConceptName.CodeValue)
	}
	if m.Parent != nil {
		notes = append(notes, string(m.Role)+" of "+m.Parent.Item)
	}
	if m.DuplicateOf != nil {
		notes = append(notes, "copy of "+m.DuplicateOf.Item)
	}
	if m.Superseded {
		notes = append(notes, "superseded")
	}
	for _, p := range m.Problems {
		notes = append(notes, problemWords[p.Kind])
	}
	line.Note = strings.Join(notes, "; ")
	return line
}

// problemWords says in words what is wrong with an item.
var problemWords = map[echo.ProblemKind]string{
	echo.NoValue:               "no value",
	echo.UnitNotUnderstood:     "unit not understood",
	echo.UnitAlias:             "unit spelled against UCUM",
	echo.UnitWrongDimension:    "unit cannot be of this quantity",
	echo.ValueNotNumber:        "value is no number",
	echo.SeveralValues:         "several values in one item",
	echo.RepresentationsDiffer: "representations of the value differ",
	echo.ValueSpelling:         "value spelled against the standard",
}

// title is the short name of a measurand, "" for "".
func (b *sheetBuilder) title(identifier string) string {
	m := find(b.measurands, identifier)
	switch {
	case m == nil:
		return identifier
	case m.Short != "":
		return m.Short
	}
	return m.Title
}

func (b *sheetBuilder) where(s echo.Source) string {
	letter, ok := b.letters[s.SOPInstanceUID]
	if !ok {
		letter = s.SOPInstanceUID
	}
	return strings.TrimSpace(letter + " " + s.Item)
}

func viewOf(m *echo.Modifier) string {
	if m == nil {
		return ""
	}
	return shortView(m.Concept.CodeMeaning)
}

func unit(c coding.CodedConcept) string {
	if c.CodeValue == "" {
		return c.CodeMeaning
	}
	return unitWord(c.CodeValue)
}

// unitWord writes a UCUM code as people do.
func unitWord(code string) string {
	switch code {
	case "1":
		return ""
	case "mm[Hg]":
		return "mmHg"
	}
	return unitWords.Replace(code)
}

var unitWords = strings.NewReplacer("cm2", "cm²", "m2", "m²", "cm3", "cm³", "{H.B.}/min", "/min", "s2", "s²")

// withUnit puts a unit behind a number as the messages do.
func withUnit(number, unit string) string {
	if unit == "%" {
		return number + unit
	}
	return strings.TrimSpace(number + " " + unit)
}

// rounded writes a number with four significant digits at most.
func rounded(r *big.Rat) string {
	f, _ := r.Float64()
	return fmt.Sprintf("%.4g", f)
}

// several lists the measurands with more than one value, in one line each.
func (b *sheetBuilder) several(all []finding.Several) []severalLine {
	var out []severalLine
	for _, s := range all {
		unit := unitWord(s.Unit)
		line := severalLine{
			Title: b.title(s.Measurand), Why: s.Why, Number: len(s.Values),
			Counts: withUnit(fmt.Sprintf("%.4g", s.Value), unit), Range: fmt.Sprintf("%.4g–%.4g", s.Low, s.High),
		}
		if m := s.Chosen; m != nil {
			line.View, line.Where = viewOf(m.Modifiers.ImageView), b.where(m.Source)
		}
		out = append(out, line)
	}
	return out
}
