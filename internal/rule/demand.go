package rule

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/expr/message"
	"echotally/internal/finding"
	"echotally/internal/statement"
	"echotally/internal/term"
)

// Faults of the record a rule may forbid beside the problems of single
// measurements ([echo.ProblemKind]).
const (
	UnmatchedCode     = "unmatchedCode"     // a result no measurand file knows
	NoReason          = "noReason"          // an empty item without a qualifier that says why
	ExactDuplicate    = "exactDuplicate"    // the same item twice
	PartlyRead        = "partlyRead"        // a damaged document of which only a part could be read
	NotCompleted      = "notCompleted"      // completion flag not COMPLETE
	NotVerified       = "notVerified"       // verification flag not VERIFIED
	DepartsFromFormat = "departsFromFormat" // departures from the standard met while reading
	SexNotRecorded    = "sexNotRecorded"
	AgeNotRecorded    = "ageNotRecorded"

	ZScoreTableNotNamed = "zScoreTableNotNamed" // a z-score that does not say by whose values
)

// Faults between a study and an earlier one under the same patient ID.
const (
	BirthDateDiffers = "birthDateDiffers"
	SexDiffers       = "sexDiffers"
)

// Faults between two places of one study.
const (
	PersonContradicted    = "personContradicted"    // name, ID, birth date or sex
	SizeContradicted      = "sizeContradicted"      // height or weight
	AgeContradicted       = "ageContradicted"       // age and birth date
	DateContradicted      = "dateContradicted"      // study date, content date
	AccessionContradicted = "accessionContradicted" // accession number
)

// Contradicted says which attributes a fault between two places of one study is
// about.
func Contradicted(fault string) []echo.Attribute {
	switch fault {
	case PersonContradicted:
		return []echo.Attribute{echo.OfName, echo.OfPatientID, echo.OfBirthDate, echo.OfSex}
	case SizeContradicted:
		return []echo.Attribute{echo.OfHeight, echo.OfWeight}
	case AgeContradicted:
		return []echo.Attribute{echo.OfAge}
	case DateContradicted:
		return []echo.Attribute{echo.OfStudyDate, echo.OfContentDate}
	case AccessionContradicted:
		return []echo.Attribute{echo.OfAccessionNumber}
	}
	return nil
}

// RecordFaults lists the words forbid understands.
func RecordFaults() []string {
	return append([]string{
		string(echo.NoValue), string(echo.UnitNotUnderstood), string(echo.UnitAlias), string(echo.UnitWrongDimension), string(echo.ValueNotNumber),
		string(echo.SeveralValues), string(echo.RepresentationsDiffer),
		UnmatchedCode, NoReason, ExactDuplicate, PartlyRead, NotCompleted, NotVerified, DepartsFromFormat, SexNotRecorded, AgeNotRecorded, ZScoreTableNotNamed,
		BirthDateDiffers, SexDiffers, PersonContradicted, SizeContradicted, AgeContradicted, DateContradicted, AccessionContradicted,
	}, ImageFaults()...)
}

// NoWindow stands for the window of what is obtained without a transducer.
const NoWindow = "none"

// demand compiles what must hold.
func (c *compilation) demand() {
	f := c.file
	c.rule.Require = c.program("$.require", f.Require, expr.Bool)
	c.rule.Review = c.program("$.review", f.Review, expr.Bool)
	demands := 0
	for _, given := range []bool{f.Require != "", f.Recompute != nil, len(f.Forbid) > 0, f.ZScore != nil} {
		if given {
			demands++
		}
	}
	if demands != 1 || len(f.short()) > 1 {
		c.fault("$.require", "a rule demands one thing", "give one of possible, usual, present, ascending, computed, require, recompute, forbid, zScore")
	}
	for _, word := range f.Forbid {
		if !slices.Contains(RecordFaults(), word) {
			hint := suggest(word, RecordFaults())
			if hint == "" {
				hint = "one of " + strings.Join(RecordFaults(), ", ")
			}
			c.fault("$.forbid", "unknown fault "+word, hint)
		}
	}
	c.recompute()
	c.zScore()
	c.rule.ExcusedBy = c.saidList("$.excusedBy", f.ExcusedBy)
	if len(f.ExcusedBy) > 0 && c.rule.Kind != finding.Completeness {
		c.fault("$.excusedBy", "only a completeness rule can be excused", "use appliesTo.unless")
	}
	for i, s := range f.SeverityIf {
		path := fmt.Sprintf("$.severityIf[%d]", i)
		if finding.Severity(s.Severity).Rank() == 0 {
			c.fault(path, fmt.Sprintf("severity %q is not known", s.Severity), "error, warning or note")
		}
		if p := c.program(path+".when", s.When, expr.Bool); p != nil {
			c.rule.SeverityIf = append(c.rule.SeverityIf, Escalation{p, finding.Severity(s.Severity)})
		}
	}
}

func (c *compilation) recompute() {
	r := c.file.Recompute
	if r == nil {
		return
	}
	stated, ok := c.rule.Aliases[r.Stated]
	if !ok {
		c.fault("$.recompute.stated", "unknown alias "+r.Stated, nearest(r.Stated, c.rule.Aliases))
		return
	}
	c.used[r.Stated] = true
	out := &Recompute{Stated: r.Stated}
	if len(r.From) == 0 {
		c.fault("$.recompute", "from nothing", "give at least one form under from")
	}
	for i, form := range r.From {
		path := fmt.Sprintf("$.recompute.from[%d]", i)
		p := c.program(path+".value", form.Value, expr.Number)
		if p == nil {
			continue
		}
		if p.Unit.Dimension() != stated.Unit.Dimension() {
			c.fault(path+".value", fmt.Sprintf("this is in %s, %s in %s", p.Unit.Code(), r.Stated, stated.Unit.Code()), "")
		}
		if slices.Contains(p.Required, r.Stated) {
			c.fault(path+".value", "the stated value cannot be its own input", "")
		}
		if form.Title == "" {
			c.fault(path, "a form without a title", "the sheet says which form fitted")
		}
		out.Forms = append(out.Forms, CompiledForm{Title: form.Title, Value: p, Declared: c.declared(form.Title, r.Declared[form.Title])})
	}
	for _, title := range sortedKeys(r.Declared) {
		if !slices.ContainsFunc(r.From, func(f Form) bool { return f.Title == title }) {
			c.fault("$.recompute.declared", "no form is called "+title, "")
		}
	}
	if r.Allowance != "" {
		p, ok := c.rule.Parameters[r.Allowance]
		switch {
		case !ok:
			c.fault("$.recompute.allowance", "unknown parameter "+r.Allowance, nearest(r.Allowance, c.rule.Parameters))
		case p.Unit.Dimension() != stated.Unit.Dimension():
			c.fault("$.recompute.allowance", fmt.Sprintf("the allowance is in %s, %s in %s", p.Unit.Code(), r.Stated, stated.Unit.Code()), "")
		}
		c.used[r.Allowance] = true
		out.Allowance = p
	}
	c.rule.Recompute = out
}

// declared are the codes by which an item declares a form.
func (c *compilation) declared(title string, names Names) []coding.Key {
	var out []coding.Key
	for _, name := range names {
		if key, ok := coding.ParseKey(name); ok {
			out = append(out, key)
		} else {
			out = append(out, c.term("$.recompute.declared."+title, term.MeasurementMethod, name)...)
		}
	}
	return out
}

// zScore compiles the ways to the body surface area that z-scores hang on.
func (c *compilation) zScore() {
	if c.file.ZScore == nil {
		return
	}
	c.rule.ZScore = &ZScore{}
	area := c.unit("$.zScore", "m2")
	for i, form := range c.file.ZScore.BodySurfaceArea {
		path := fmt.Sprintf("$.zScore.bodySurfaceArea[%d]", i)
		p := c.program(path+".value", form.Value, expr.Number)
		switch {
		case p == nil:
			continue
		case !p.Unit.Convertible(area):
			c.fault(path+".value", "this is in "+p.Unit.Code()+", a body surface area in m2", "")
		case form.Title == "":
			c.fault(path, "a form without a title", "the sheet says which form fitted")
		}
		c.rule.ZScore.BodySurfaceArea = append(c.rule.ZScore.BodySurfaceArea, CompiledForm{Title: form.Title, Value: p})
	}
	if len(c.rule.ZScore.BodySurfaceArea) == 0 && len(c.errors) == 0 {
		c.fault("$.zScore", "no body surface area", "give at least one form under bodySurfaceArea")
	}
}

// words compiles the message and checks the place to look.
func (c *compilation) words() {
	if c.file.Message != "" {
		c.rule.Message = c.template("$.message", c.file.Message)
	}
	if o := c.file.Obtain; o != nil && o.Window != "" && o.Window != NoWindow && c.Terms.Find(term.Window, o.Window) == nil {
		c.fault("$.obtain.window", "unknown window "+o.Window, "one of "+strings.Join(append(c.Terms.Ordered(term.Window), NoWindow), ", "))
	}
}

// template compiles words with expressions in braces; nil when they are faulty.
func (c *compilation) template(path, words string) *message.Template {
	t, err := message.Compile(words, c.scope)
	if err != nil {
		c.errors = append(c.errors, c.source.expression(path, err))
		return nil
	}
	for _, p := range t.Programs() {
		c.uses(p)
	}
	return t
}

func statementNames(c *statement.Catalogue) []string {
	var out []string
	for _, d := range c.Definitions {
		out = append(out, d.Identifier)
	}
	return out
}
