package check

import (
	"fmt"
	"math"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/reference"
	"echotally/internal/rule"
	"echotally/internal/ucum"
)

// zScoreConcept is Z-Score of measurement (PS3.16 CID 221).
var zScoreConcept = coding.Key{CodeValue: "121416", CodingSchemeDesignator: "DCM"}

// zScore is a z-score of the record and the measurement it is of, nil when it
// stands beside none.
type zScore struct{ score, of *echo.Measurement }

// zScores lists the z-scores of the record that speak.
func (r *reading) zScores() []zScore {
	var out []zScore
	for i := range r.study.Measurements {
		m := &r.study.Measurements[i]
		if m.ConceptName.CodeValue != zScoreConcept.CodeValue || m.ConceptName.Key() != zScoreConcept || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		z := zScore{score: m, of: r.parent(m)}
		if z.of == nil || z.of.DuplicateOf == nil {
			out = append(out, z)
		}
	}
	return out
}

func (r *reading) parent(m *echo.Measurement) *echo.Measurement {
	for i := range r.study.Measurements {
		if p := &r.study.Measurements[i]; m.Parent != nil && p.Source == *m.Parent {
			return p
		}
	}
	return nil
}

// scoreBeside is the z-score recorded beside a measurement, NaN when there is
// none.
func (r *reading) scoreBeside(m *echo.Measurement) float64 {
	for _, z := range r.zScores() {
		if m != nil && z.of == m && z.score.Quantity != nil {
			if x, err := z.score.Quantity.Float(ucum.Unit{}); err == nil {
				return x
			}
		}
	}
	return math.NaN()
}

// authority is what the record says of where a z-score comes from: by itself,
// or beside it at the measurement (TID 311).
func (r *reading) authority(score *echo.Measurement) string {
	if p := r.parent(score); score.ReferenceAuthority == "" && p != nil {
		return p.ReferenceAuthority
	}
	return score.ReferenceAuthority
}

// ofWhat names the measurement of a z-score.
func (r *reading) ofWhat(score *echo.Measurement) string {
	p := r.parent(score)
	if p == nil {
		return ""
	}
	if m := r.set.Measurands.Find(p.Measurand); m != nil {
		return " of " + m.Title
	}
	return " of " + p.ConceptName.CodeMeaning
}

// scored is a z-score made ready for arithmetic.
type scored struct {
	zScore
	z      item // in 1
	y      item // in the unit of its measurand
	tables []*reference.Table
	named  bool // the record says which table
	sizes  []size
}

// size is a body surface area in m2 with the range that rounding leaves open.
type size struct {
	title        string
	x, low, high float64
}

// judged is what one z-score came to.
type judged struct {
	outcome finding.Outcome
	text    string
	size    string // body surface area it was reckoned at, in m2
	fitted  string // which table, and which body surface area
	causes  []finding.Hypothesis
	missing finding.Missing
}

// zScoresHold asks of every z-score whether its table gives it. One that does
// not fit its named table fails; one that fits none of the tables it may be of
// is a person's to look at, since nobody has all tables.
func (e *evaluation) zScoresHold(res *finding.Result) {
	var told, fitted []string
	gravity := map[finding.Outcome]int{finding.Pass: 1, finding.Open: 2, finding.Review: 3, finding.Fail: 4}
	res.Outcome = finding.Pass
	open := 0
	var failed []judged
	for _, z := range e.zScores() {
		j := e.judgeZ(z)
		if gravity[j.outcome] > gravity[res.Outcome] {
			res.Outcome = j.outcome
		}
		switch j.outcome {
		case finding.Pass:
			fitted = append(fitted, j.fitted)
		case finding.Open:
			res.Missing = append(res.Missing, j.missing)
			open++
		default:
			if len(failed) == 0 || failed[len(failed)-1].size != j.size {
				j.text = "at a body surface area of " + j.size + " m², " + j.text
			}
			told, failed = append(told, j.text), append(failed, j)
			res.Evidence = append(res.Evidence, finding.Evidence{Measurement: z.of}, finding.Evidence{Measurement: z.score})
		}
	}
	res.Causes = sharedCauses(failed)
	res.Variant = strings.Join(compact(fitted), "; ")
	res.Missing = compactMissing(res.Missing)
	switch {
	case res.Outcome == finding.Open:
		res.Message = cannotTell(res.Missing)
	case len(told) > 0 && open > 0:
		told = append(told, fmt.Sprintf("%d more could not be told", open))
		res.Missing = nil
	}
	if len(told) > 0 {
		res.Message = capital(strings.Join(told, "; "))
	}
}

func (e *evaluation) judgeZ(z zScore) judged {
	s, missing := e.ready(z)
	if missing != "" {
		return e.openZ(z, missing)
	}
	told := false
	for _, t := range s.tables {
		for _, at := range s.sizes {
			switch s.fits(t, t.Find(z.of.Measurand), at) {
			case expr.True:
				return judged{outcome: finding.Pass, fitted: t.Title + ", " + at.title}
			case expr.False:
				told = true
			}
		}
	}
	if !told {
		return e.openZ(z, "the arithmetic has no result for these values")
	}
	j := judged{outcome: finding.Review}
	j.text, j.size = e.wrongZ(s), plain(s.sizes[0].x)
	if s.named {
		j.outcome, j.causes = finding.Fail, e.zCauses(s)
	}
	return j
}

func (e *evaluation) openZ(z zScore, reason string) judged {
	return judged{outcome: finding.Open, missing: finding.Missing{Alias: "z-score", Measurand: "z-score",
		Title: strings.TrimSpace("z-score " + strings.TrimSpace(z.score.ValueText) + e.ofWhat(z.score)), Reason: reason}}
}

// ready gathers what the arithmetic needs; missing says what is not there.
func (e *evaluation) ready(z zScore) (s scored, missing string) {
	s.zScore = z
	if z.of == nil {
		return s, "it stands beside no measurement"
	}
	what := e.set.Measurands.Find(z.of.Measurand)
	switch {
	case z.of.Fetus:
		return s, "of a fetus, the tables are of children"
	case what == nil:
		return s, "the code of the measurement is not known"
	case z.score.Quantity == nil:
		return s, "no usable value"
	}
	x, err := z.score.Quantity.Float(ucum.Unit{})
	if err != nil {
		return s, "its unit is that of no plain number"
	}
	s.z = item{m: z.score, x: x}
	s.z.halfStep, _ = z.score.Quantity.Value.HalfStep().Float64()
	var ok bool
	if s.y, ok = e.item(z.of, what.Unit); !ok {
		return s, "the measurement has no usable value"
	}
	if missing = e.tablesOf(&s); missing != "" {
		return s, missing
	}
	return s, e.sizesOf(&s)
}

// tablesOf finds the table the record names, or those it may be.
func (e *evaluation) tablesOf(s *scored) (missing string) {
	authority := e.authority(s.score)
	s.named = authority != ""
	all := e.set.References.Of(s.of.Measurand)
	switch {
	case s.named:
		named := e.set.References.Named(authority)
		if len(named) == 0 {
			return "the reference values it names are not among the tables"
		}
		all = filter(named, func(t *reference.Table) bool { return t.Find(s.of.Measurand) != nil })
		if len(all) == 0 {
			return named[0].Title + " has no values for it"
		}
	case len(all) == 0:
		return "no table has values for it"
	}
	age := e.study.Subject.AgeYears
	s.tables = filter(all, func(t *reference.Table) bool { return age == nil || t.Age.Holds(*age) })
	if len(s.tables) == 0 {
		return all[0].Title + " is not for this age"
	}
	return ""
}

// sizesOf gives the body surface areas of the study that lie within a table.
func (e *evaluation) sizesOf(s *scored) (missing string) {
	unit, err := ucum.Parse("m2")
	if err != nil {
		return err.Error()
	}
	area := &binding{alias: &rule.Alias{Unit: unit}}
	missing = "no body surface area"
	for _, form := range e.rule.ZScore.BodySurfaceArea {
		at := size{title: form.Title, x: e.inUnitOf(form.Value, area)(e.value)}
		at.low, at.high = e.reach(form.Value, area)
		switch {
		case math.IsNaN(at.x):
		case len(filter(s.tables, func(t *reference.Table) bool { return t.Surface.Holds(at.x) })) == 0:
			missing = s.tables[0].Title + " is not for this body surface area"
		default:
			s.sizes = append(s.sizes, at)
		}
	}
	if len(s.sizes) > 0 {
		return ""
	}
	return missing
}

// fits asks whether a table can give the z-score when every number may lie
// anywhere in the interval its digits leave open.
func (s scored) fits(t *reference.Table, v *reference.Value, at size) expr.Truth {
	half := max(s.y.halfStep, math.Abs(s.y.x)*singlePrecision)
	low, high := math.Inf(1), math.Inf(-1)
	for _, y := range []float64{s.y.x - half, s.y.x + half} {
		for _, area := range []float64{at.low, at.high} {
			z := t.Z(v, y, area)
			low, high = min(low, z), max(high, z) // NaN stays NaN
		}
	}
	if math.IsNaN(low) || math.IsNaN(high) || !t.Surface.Holds(at.x) {
		return expr.Unknown
	}
	slack := max(s.z.halfStep, math.Abs(s.z.x)*singlePrecision) + 1e-9
	if s.z.x+slack >= low && s.z.x-slack <= high {
		return expr.True
	}
	return expr.False
}
