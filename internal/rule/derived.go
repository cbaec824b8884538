package rule

import (
	"cmp"
	"maps"
	"math/big"
	"regexp"
	"slices"
	"strings"

	"echotally/internal/datafile/written"
	"echotally/internal/finding"
)

// AnyValue stands in an example for a value whose number does not matter.
const AnyValue = "any"

// AllExamples are the examples of the file and those that follow from what it
// says as data: its short demand, its ages, its exceptions and its excuses. They
// follow from the file as written, so a rule that is changed does not come to
// the outcomes of the examples it had before.
func (f File) AllExamples() []Example {
	d := deriver{File: f}
	for _, e := range f.Examples {
		at := e
		at.Beyond = nil
		d.all = append(d.all, at)
		if len(e.Beyond) > 0 {
			d.all = append(d.all, e.beyond())
		}
	}
	d.shortDemand()
	if base, ok := d.first(finding.Pass); ok {
		d.ages(base)
		d.applicability(base)
	}
	if base, ok := d.first(finding.Fail); ok && len(f.ExcusedBy) > 0 {
		d.add("with a reason", base, finding.Excused, func(e *Example) { e.Stated = slices.Concat(e.Stated, f.ExcusedBy[:1]) })
	}
	return d.all
}

// The words of Beyond that are no names of values.
const beyondOutcome, beyondSeverity = "outcome", "severity"

// beyond is the example with the other value.
func (e Example) beyond() Example {
	out := e
	out.Given, out.Outcome, out.Severity, out.Message = maps.Clone(e.Given), string(e.Beyond[beyondOutcome]), string(finding.SeverityOf(string(e.Beyond[beyondSeverity]))), ""
	out.Beyond = nil
	for name, value := range e.Beyond {
		if name != beyondOutcome && name != beyondSeverity {
			out.Title += ", but " + name + " " + string(value)
			out.Given = with(out.Given, name, GivenValues{{Value: value}})
		}
	}
	return out
}

type deriver struct {
	File
	all []Example
}

// first is the first example of an outcome.
func (d *deriver) first(o finding.Outcome) (Example, bool) {
	i := slices.IndexFunc(d.all, func(e Example) bool { return e.Outcome == string(o) })
	if i < 0 {
		return Example{}, false
	}
	return d.all[i], true
}

// add adds a changed copy of an example.
func (d *deriver) add(title string, base Example, o finding.Outcome, change func(*Example)) {
	e := base
	e.Title, e.Outcome, e.Severity, e.Message, e.Beyond = title, string(o), "", "", nil
	e.Given = maps.Clone(base.Given)
	if e.Given == nil {
		e.Given = map[string]GivenValues{}
	}
	change(&e)
	d.all = append(d.all, e)
}

// set is a change of one value.
func set(name string, value written.Text) func(*Example) {
	return func(e *Example) { e.Given[name] = GivenValues{{Value: value}} }
}

func (d *deriver) shortDemand() {
	if b := d.Bounds(); b != nil {
		d.bounds(b)
	}
	if d.Present != nil {
		d.add("measured", d.usual(), finding.Pass, set(shortAlias, AnyValue))
		d.add("missing", d.usual(), finding.Fail, func(*Example) {})
	}
	if base, ok := d.first(finding.Pass); ok && len(d.Ascending) > 0 {
		d.ascending(base)
	}
	if c := d.Computed; c != nil {
		d.computed(c)
	}
}

// usual is a patient of whom nothing is measured and whom the rule is for.
func (d *deriver) usual() Example {
	a, e := d.AppliesTo, Example{}
	if len(a.Stated) > 0 {
		e.Stated = a.Stated[:1]
	}
	if a.Sex == "" && (a.Age == nil || a.Age.High == nil) {
		return e
	}
	e.Subject = &Person{Age: "60 a", Sex: cmp.Or(a.Sex, "F")}
	if a.Age != nil && a.Age.High != nil {
		e.Subject.Age = a.Age.High.Value + written.Text(" "+a.Age.High.Unit)
	}
	return e
}

func (d *deriver) bounds(b *Bounds) {
	if b.Ordinary != "" {
		d.add("ordinary", d.usual(), finding.Pass, set(shortAlias, b.Ordinary))
	}
	for _, end := range []struct {
		name, beyond string
		step         int64
	}{{low, "below", -1}, {high, "above", 1}} {
		p := d.Parameters[end.name]
		d.add("at the "+end.name+" limit", d.usual(), finding.Pass, set(shortAlias, p.Value+" "+written.Text(p.Unit)))
		d.add("just "+end.beyond, d.usual(), finding.Fail, set(shortAlias, Stepped(p.Value, end.step)+" "+written.Text(p.Unit)))
	}
	if b.Slip != "" {
		d.add("a slip", d.usual(), finding.Fail, set(shortAlias, b.Slip))
	}
}

// ascending derives from values in order those that are not.
func (d *deriver) ascending(base Example) {
	for i, name := range d.Ascending[1:] {
		lower := d.Ascending[i]
		if len(base.Given[lower]) != 1 || len(base.Given[name]) != 1 {
			continue
		}
		a, b := base.Given[lower][0].Value, base.Given[name][0].Value
		d.add(lower+" equal to "+name, base, finding.Fail, set(lower, b))
		d.add("exchanged", base, finding.Fail, func(e *Example) { set(lower, b)(e); set(name, a)(e) })
	}
}

// computed derives from the numbers at the limit those one digit beyond: further
// from the stated value of the first passing example.
func (d *deriver) computed(c *Computed) {
	base, ok := d.first(finding.Pass)
	if c.Fits != nil {
		d.add("fits", d.usual(), finding.Pass, func(e *Example) { e.Given = maps.Clone(c.Fits) })
		base, ok = d.all[len(d.all)-1], true
	}
	if c.Limit != nil {
		d.add("exactly at the limit", d.usual(), finding.Pass, func(e *Example) { e.Given = maps.Clone(c.Limit) })
		at := c.Limit[c.Value]
		if usual := base.Given[c.Value]; ok && len(at) == 1 && len(usual) == 1 {
			number, unit, _ := strings.Cut(string(at[0].Value), " ")
			before, _, _ := strings.Cut(string(usual[0].Value), " ")
			beyond := Stepped(written.Text(number), int64(rational(number).Cmp(rational(before)))) + " " + written.Text(unit)
			d.add("just beyond", d.usual(), finding.Fail, func(e *Example) { e.Given = with(c.Limit, c.Value, GivenValues{{Value: beyond}}) })
		}
	}
	if ok && d.AppliesTo.When == "present("+c.Value+")" {
		d.add("an input is missing", base, finding.Open, func(e *Example) { e.Given = map[string]GivenValues{c.Value: base.Given[c.Value]} })
	}
}

// ages derives who is just of age and who just is not.
func (d *deriver) ages(base Example) {
	a := d.AppliesTo.Age
	if a == nil {
		return
	}
	of := func(age written.Text) func(*Example) {
		return func(e *Example) {
			who := Person{Sex: "F"}
			if base.Subject != nil {
				who.Sex = base.Subject.Sex
			}
			who.Age = age
			e.Subject = &who
		}
	}
	varies := slices.ContainsFunc(slices.Collect(maps.Values(d.Parameters)), func(p *ParameterAsWritten) bool {
		return slices.ContainsFunc(p.Cases, func(c CaseAsWritten) bool { return c.Age != nil })
	})
	for _, end := range []struct {
		at     *written.Bound
		beyond string
		step   int64
	}{{a.Low, "just under age", -1}, {a.High, "just over age", 1}} {
		if end.at == nil {
			continue
		}
		unit := " " + written.Text(end.at.Unit)
		if !varies { // at that age the numbers may be others
			d.add("just of age", base, finding.Pass, of(end.at.Value+unit))
		}
		d.add(end.beyond, base, finding.NotApplicable, of(Stepped(end.at.Value, end.step)+unit))
	}
	d.add("age not recorded", base, finding.Open, of(""))
}

var presences = regexp.MustCompile(`^present\(\w+\)( and present\(\w+\))*$`)

// applicability derives whom the rule is not for.
func (d *deriver) applicability(base Example) {
	a := d.AppliesTo
	nothing := func(title string, change func(*Example)) { d.add(title, base, finding.NotApplicable, change) }
	if presences.MatchString(a.When) {
		for part := range strings.SplitSeq(a.When, " and ") {
			name := strings.TrimSuffix(strings.TrimPrefix(part, "present("), ")")
			if !d.shared(name) {
				nothing("without "+name, func(e *Example) { delete(e.Given, name) })
			}
		}
	}
	for _, s := range a.Unless {
		nothing("with "+s, func(e *Example) { e.Stated = slices.Concat(e.Stated, Names{s}) })
	}
	if len(a.Stated) > 0 {
		nothing("not stated", func(e *Example) {
			e.Stated = slices.DeleteFunc(slices.Clone(e.Stated), func(s string) bool { return slices.Contains(a.Stated, s) })
		})
	}
	if len(a.Protocol) > 0 {
		nothing("not asked for in this study", func(e *Example) { e.Protocol = Names{"of another kind"} })
	}
}

// shared reports whether another name stands for a measurand of this one, so
// that its values may serve both.
func (d *deriver) shared(name string) bool {
	for other, choice := range d.Measurands {
		if other != name && slices.ContainsFunc(choice.Measurand, func(m string) bool { return slices.Contains(d.Measurands[name].Measurand, m) }) {
			return true
		}
	}
	return false
}

// Stepped is a number moved by steps of one in its last written digit.
func Stepped(number written.Text, steps int64) written.Text {
	_, fraction, _ := strings.Cut(string(number), ".")
	digit := new(big.Rat).SetFrac(big.NewInt(steps), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(len(fraction))), nil))
	return written.Text(digit.Add(rational(string(number)), digit).FloatString(len(fraction)))
}

// rational is a number as written; 0 for what is none, which the lint tells.
func rational(number string) *big.Rat {
	x, ok := new(big.Rat).SetString(strings.TrimSpace(number))
	if !ok {
		return new(big.Rat)
	}
	return x
}
