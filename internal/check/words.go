package check

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
	"echotally/internal/ucum"
)

var (
	ageMissing = finding.Missing{Alias: expr.Age, Measurand: "patient-age", Title: "Patient's age", Reason: "not recorded"}
	sexMissing = finding.Missing{Alias: expr.Sex, Measurand: "patient-sex", Title: "Patient's sex", Reason: "not recorded"}
)

// programs lists the expressions that decide or tell the result.
func (e *evaluation) programs() []*expr.Program { return e.rule.Programs() }

// evidence lists the values and statements the result rests on, the value that
// counts first.
func (e *evaluation) evidence() []finding.Evidence {
	var out []finding.Evidence
	for _, name := range e.rule.Names() {
		if b, ok := e.bindings[name]; ok {
			out = append(out, b.evidence()...)
		}
		if s, ok := e.rule.Statements[name]; ok {
			for _, d := range s.Definitions {
				for _, st := range e.said[d.Identifier] {
					out = append(out, finding.Evidence{Alias: name, Statement: st})
				}
			}
		}
	}
	return append(out, e.wallEvidence()...)
}

func (b *binding) evidence() []finding.Evidence {
	var out []finding.Evidence
	if b.chosen.m != nil {
		out = append(out, finding.Evidence{Alias: b.alias.Name, Measurement: b.chosen.m, Note: b.note})
	}
	for _, i := range b.items {
		if i.m != b.chosen.m {
			note := ""
			if b.chosen.m == nil {
				note = b.note
			}
			out = append(out, finding.Evidence{Alias: b.alias.Name, Measurement: i.m, Note: note})
		}
	}
	return out
}

// missing lists the inputs that leave an expression undecided. Names the
// expression itself guards are named only when nothing else explains it.
func (e *evaluation) missing(p *expr.Program) []finding.Missing {
	collect := func(keep func(name string) bool) []finding.Missing {
		var out []finding.Missing
		seen := map[string]bool{}
		for _, in := range p.Inputs {
			if !seen[in.Name] && keep(in.Name) && e.untold(in) {
				seen[in.Name] = true
				out = append(out, e.whyMissing(in)...)
			}
		}
		return out
	}
	out := collect(func(name string) bool { return slices.Contains(p.Required, name) })
	if len(out) == 0 {
		out = collect(func(string) bool { return true })
	}
	return out
}

// untold reports whether an input has no answer, or one that images whose
// headers say too little could change.
func (e *evaluation) untold(in expr.Input) bool {
	if g, ok := e.galleries[in.Name]; ok {
		return len(g.perhaps) > 0
	}
	return math.IsNaN(e.value(in))
}

// absent lists what a completeness rule asks for and the study does not hold.
func (e *evaluation) absent(p *expr.Program) []finding.Missing {
	var out []finding.Missing
	for _, in := range p.Inputs {
		if b, ok := e.bindings[in.Name]; ok && e.rule.Kind == finding.Completeness && len(b.items) == 0 {
			out = append(out, e.whyMissing(expr.Input{Name: in.Name})...)
		}
	}
	return compactMissing(out)
}

func (e *evaluation) whyMissing(in expr.Input) []finding.Missing {
	if b, ok := e.bindings[in.Name]; ok {
		reason := b.reason(in.Function)
		if in.AboutPrior() {
			reason = e.priorReason(b)
		}
		return []finding.Missing{{Alias: in.Name, Measurand: b.alias.Measurands[0].Identifier, Title: b.alias.Title(), Reason: reason}}
	}
	if in.AboutSegments() {
		return e.whyNoScore(in.Function)
	}
	if in.AboutPrior() {
		return []finding.Missing{{Alias: in.Function, Measurand: "study-date", Title: "Study date", Reason: "not recorded in both studies"}}
	}
	if g, ok := e.galleries[in.Name]; ok {
		return []finding.Missing{g.undecided()}
	}
	if s, ok := e.rule.Statements[in.Name]; ok {
		return []finding.Missing{{Alias: in.Name, Measurand: s.Definitions[0].Identifier, Title: s.Title(), Reason: "neither stated nor excluded"}}
	}
	if p, ok := e.rule.Parameters[in.Name]; ok {
		return e.whyNoParameter(p)
	}
	if in.Function == expr.Sex {
		return []finding.Missing{sexMissing}
	}
	return []finding.Missing{ageMissing}
}

func (e *evaluation) whyNoParameter(p *rule.Parameter) []finding.Missing {
	var out []finding.Missing
	for _, c := range p.Cases {
		if c.Sex != "" && e.study.Subject.PatientSex == "" && !slices.Contains(out, sexMissing) {
			out = append(out, sexMissing)
		}
		if !c.Age.Any() && e.study.Subject.AgeYears == nil && !slices.Contains(out, ageMissing) {
			out = append(out, ageMissing)
		}
	}
	if len(out) == 0 {
		out = append(out, finding.Missing{Alias: p.Name, Measurand: p.Name, Title: "limit " + p.Name, Reason: "not known for this patient"})
	}
	return out
}

// reason says why the study holds no usable answer for the alias.
func (b *binding) reason(function string) string {
	if len(b.items) > 0 {
		if slices.Contains(aboutLink, function) {
			return b.linkReason(function)
		}
		switch function {
		case "recorded_mean":
			return "no mean recorded"
		case "z_score":
			return "no z-score recorded beside it"
		case "spread":
			return "fewer than two single values"
		}
		return "only a mean is recorded"
	}
	if len(b.empty) == 0 {
		return "not measured"
	}
	m := b.empty[len(b.empty)-1]
	for _, p := range m.Problems {
		switch p.Kind {
		case echo.UnitNotUnderstood:
			return "unit not understood: " + p.Detail
		case echo.UnitWrongDimension:
			return "unit cannot be right: " + p.Detail
		case echo.ValueNotNumber:
			return "value is not a number"
		}
	}
	if m.Qualifier != nil {
		return "no value recorded: " + m.Qualifier.CodeMeaning
	}
	return "no value recorded"
}

func cannotTell(missing []finding.Missing) string {
	if len(missing) == 0 {
		return "cannot tell: the arithmetic has no result for these values"
	}
	return "cannot tell: " + list(missing)
}

func list(missing []finding.Missing) string {
	parts := make([]string, len(missing))
	for i, m := range missing {
		parts[i] = m.Title + ": " + m.Reason
	}
	return strings.Join(parts, "; ")
}

func titles(said []*rule.Said) string {
	parts := make([]string, len(said))
	for i, s := range said {
		parts[i] = s.Title()
	}
	return strings.Join(parts, " or ")
}

func (e *evaluation) write(t *expr.Template) string {
	return t.Write(e.named, legible, e.value)
}

// legible writes a computed number in the unit people use for its kind when the
// arithmetic left a product of several, such as mm²·cm.
func legible(x float64, unit ucum.Unit) string {
	if strings.Contains(unit.Code(), ".") {
		for _, code := range []string{"mL", "cm2", "cm", "ms", "cm/s", "mm[Hg]"} {
			u, err := ucum.Parse(code)
			if err != nil || u.Dimension() != unit.Dimension() {
				continue
			}
			if f, err := unit.FactorTo(u); err == nil {
				factor, _ := f.Float64()
				return withUnit(x*factor, u)
			}
		}
	}
	return withUnit(x, unit)
}

// bare is a number without its unit: as written when it was written in that
// unit, otherwise converted.
func (e *evaluation) bare(in expr.Input, to ucum.Unit) string {
	var from ucum.Unit
	if b, ok := e.bindings[in.Name]; ok {
		if q := b.chosen.m; q != nil && in.Function == "" && q.Quantity.Unit.Code() == to.Code() {
			return readable(b.chosen.written())
		}
		from = b.alias.Unit
	} else if p, ok := e.rule.Parameters[in.Name]; ok {
		from = p.Unit
	}
	factor, err := from.FactorTo(to)
	if err != nil {
		return plain(e.value(in))
	}
	f, _ := factor.Float64()
	return plain(e.value(in) * f)
}

// named is a name's value as it stands in the record, or a parameter's.
func (e *evaluation) named(name string) string {
	if b, ok := e.bindings[name]; ok {
		return b.chosen.text(b.alias.Unit)
	}
	if p, ok := e.rule.Parameters[name]; ok {
		if _, d := e.parameter(p); !d.IsZero() {
			return join(d.Text(), p.Unit)
		}
		return "unknown"
	}
	return name + " " + plain(e.value(expr.Input{Name: name}))
}

// text is the value as written, with its unit; in the unit of the alias when
// it was not written at all.
func (i item) text(unit ucum.Unit) string {
	switch {
	case math.IsNaN(i.x):
		return "not recorded"
	case i.m == nil:
		return withUnit(i.x, unit)
	}
	return join(readable(i.written()), i.m.Quantity.Unit)
}

// written is the number as written, but for a minus sign that only told the
// direction of a flow: the arithmetic is done without it.
func (i item) written() ucum.Decimal {
	if i.x >= 0 {
		return i.m.Quantity.Value.Abs()
	}
	return i.m.Quantity.Value
}

// readable is the number as written, or four significant digits of it when a
// machine wrote it with all its digits. The evidence holds every digit.
func readable(d ucum.Decimal) string {
	const enough = 6
	if len(strings.Trim(strings.NewReplacer(".", "", "-", "", "+", "").Replace(d.Text()), "0 ")) <= enough {
		return d.Text()
	}
	return significant(d.Float(), 4)
}

// arithmetic writes an expression with the values of this study in it.
func (e *evaluation) arithmetic(p *expr.Program) string {
	if e.brief {
		return ""
	}
	return p.Arithmetic(e.shown)
}

func (e *evaluation) shown(in expr.Input, unit *ucum.Unit) string {
	x := e.value(in)
	if unit != nil {
		return e.bare(in, *unit)
	}
	if in.AboutPrior() {
		return e.shownPrior(in)
	}
	if s, ok := e.rule.Statements[in.Name]; ok {
		return "“" + s.Title() + "” stated"
	}
	if in.Function == "count_measurands" {
		return plain(x) + " quantities measured"
	}
	if in.Function == "count_z_scores" {
		return plain(x) + " z-scores recorded"
	}
	if in.AboutSegments() {
		return shownWall(in.Function, x)
	}
	if g, ok := e.galleries[in.Name]; ok {
		if in.Function == "present" {
			return "an " + g.alias.Title()
		}
		return plain(x) + " " + in.Function + " of “" + g.alias.Title() + "”"
	}
	b, ok := e.bindings[in.Name]
	if !ok || in.Function == "" {
		return e.named(in.Name)
	}
	title := b.alias.Title()
	if own, ok := expr.UnitOf(in.Function); ok {
		return strings.ReplaceAll(in.Function, "_", " ") + " " + withUnit(x, own)
	}
	switch in.Function {
	case "present", "noted":
		return strings.TrimSpace(title + " " + in.Function + " " + in.Detail)
	case "count":
		return plain(x) + " values of " + title
	case "beats", "views", "windows":
		return plain(x) + " " + in.Function + " of " + title
	}
	return strings.ReplaceAll(in.Function, "_", " ") + " " + title + " " + withUnit(x, b.alias.Unit)
}

func withUnit(x float64, unit ucum.Unit) string { return join(plain(x), unit) }

// plain writes a computed number with three significant digits.
func plain(x float64) string { return significant(x, 3) }

// significant writes a number with n significant digits, whole when it is
// large.
func significant(x float64, n int) string {
	switch {
	case math.IsNaN(x):
		return "unknown"
	case x == 0:
		return "0"
	}
	decimals := min(max(n-1-int(math.Floor(math.Log10(math.Abs(x)))), 0), 6)
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func join(number string, unit ucum.Unit) string {
	switch u := unit.Display(); u {
	case "":
		return number
	case "%", "°":
		return number + u
	default:
		return number + " " + u
	}
}
