package answer

import (
	"math"
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/reference"
	"echotally/internal/ucum"
)

// Score is a z-score of the record and the measurement it is of, nil when it
// stands beside none.
type Score struct{ Item, Of *echo.Measurement }

// zScoreKey is Z-Score of measurement (PS3.16 CID 221).
var zScoreKey = coding.Key{CodeValue: "121416", CodingSchemeDesignator: "DCM"}

// ScoreConcept is the concept of a z-score.
func ScoreConcept() coding.CodedConcept {
	return coding.CodedConcept{CodeValue: zScoreKey.CodeValue, CodingSchemeDesignator: zScoreKey.CodingSchemeDesignator, CodeMeaning: "Z-Score of measurement"}
}

// IsScore reports whether an item is a z-score.
func IsScore(m *echo.Measurement) bool {
	return m.ConceptName.CodeValue == zScoreKey.CodeValue && m.ConceptName.Key() == zScoreKey
}

// Scores lists the z-scores of the record that speak.
func (r *Reading) Scores() []Score {
	if r.scored {
		return r.scores
	}
	r.scored = true
	for i := range r.Study.Measurements {
		m := &r.Study.Measurements[i]
		if !IsScore(m) || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		if z := (Score{Item: m, Of: r.parent(m)}); z.Of == nil || z.Of.DuplicateOf == nil {
			r.scores = append(r.scores, z)
		}
	}
	return r.scores
}

// parent is the measurement an item stands beneath, nil when there is none.
func (r *Reading) parent(m *echo.Measurement) *echo.Measurement {
	if m.Parent == nil {
		return nil
	}
	if r.places == nil {
		r.places = make(map[echo.Source]*echo.Measurement, len(r.Study.Measurements))
		for i := range r.Study.Measurements {
			if p := &r.Study.Measurements[i]; r.places[p.Source] == nil {
				r.places[p.Source] = p
			}
		}
	}
	return r.places[*m.Parent]
}

// scoreBeside is the z-score recorded beside a measurement, NaN when there is
// none.
func (r *Reading) scoreBeside(m *echo.Measurement) float64 {
	for _, z := range r.Scores() {
		if m != nil && z.Of == m && z.Item.Quantity != nil {
			if x, err := z.Item.Quantity.Float(ucum.Unit{}); err == nil {
				return x
			}
		}
	}
	return math.NaN()
}

// Authority is what the record says of where a z-score comes from: by itself,
// or beside it at the measurement (TID 311).
func (r *Reading) Authority(score *echo.Measurement) string {
	if p := r.parent(score); score.ReferenceAuthority == "" && p != nil {
		return p.ReferenceAuthority
	}
	return score.ReferenceAuthority
}

// OfWhat names the measurement of a z-score.
func (r *Reading) OfWhat(score *echo.Measurement) string {
	p := r.parent(score)
	if p == nil {
		return ""
	}
	if m := r.Library.Measurands.Find(p.Measurand); m != nil {
		return " of " + m.Title
	}
	return " of " + p.ConceptName.CodeMeaning
}

// Scored is a z-score made ready for arithmetic.
type Scored struct {
	Score
	Z      Item // in 1
	Y      Item // in the unit of its measurand
	Tables []*reference.Table
	Named  bool // the record says which table
	Sizes  []Size
}

// Size is a body surface area in m2 with the range that rounding leaves open.
type Size struct {
	Title        string
	X, Low, High float64
}

// Ready gathers what the arithmetic needs; missing says what is not there.
func (a *Answers) Ready(z Score) (s Scored, missing string) {
	s.Score = z
	if z.Of == nil {
		return s, "it stands beside no measurement"
	}
	what := a.Library.Measurands.Find(z.Of.Measurand)
	switch {
	case z.Of.Fetus:
		return s, "of a fetus, the tables are of children"
	case what == nil:
		return s, "the code of the measurement is not known"
	case z.Item.Quantity == nil:
		return s, "no usable value"
	}
	x, err := z.Item.Quantity.Float(ucum.Unit{})
	if err != nil {
		return s, "its unit is that of no plain number"
	}
	s.Z = Item{Measurement: z.Item, X: x}
	s.Z.HalfStep, _ = z.Item.Quantity.Value.HalfStep().Float64()
	var ok bool
	if s.Y, ok = a.Item(z.Of, what.Unit); !ok {
		return s, "the measurement has no usable value"
	}
	if missing = a.tablesOf(&s); missing != "" {
		return s, missing
	}
	return s, a.sizesOf(&s)
}

// tablesOf finds the table the record names, or those it may be.
func (a *Answers) tablesOf(s *Scored) (missing string) {
	authority := a.Authority(s.Item)
	s.Named = authority != ""
	all := a.Library.References.Of(s.Of.Measurand)
	switch {
	case s.Named:
		named := a.Library.References.Named(authority)
		if len(named) == 0 {
			return "the reference values it names are not among the tables"
		}
		all = filter(named, func(t *reference.Table) bool { return t.Find(s.Of.Measurand) != nil })
		if len(all) == 0 {
			return named[0].Title + " has no values for it"
		}
	case len(all) == 0:
		return "no table has values for it"
	}
	age := a.Study.Subject.AgeYears
	s.Tables = filter(all, func(t *reference.Table) bool { return age == nil || t.Age.Holds(*age) })
	if len(s.Tables) == 0 {
		return all[0].Title + " is not for this age"
	}
	return ""
}

// sizesOf gives the body surface areas of the study that lie within a table.
func (a *Answers) sizesOf(s *Scored) (missing string) {
	unit, err := ucum.Parse("m2")
	if err != nil {
		return err.Error()
	}
	missing = "no body surface area"
	for _, form := range a.Rule.ZScore.BodySurfaceArea {
		at := Size{Title: form.Title, X: a.InUnit(form.Value, unit)(a.Value)}
		at.Low, at.High = a.Reach(form.Value, unit)
		switch {
		case math.IsNaN(at.X):
		case len(filter(s.Tables, func(t *reference.Table) bool { return t.Surface.Holds(at.X) })) == 0:
			missing = s.Tables[0].Title + " is not for this body surface area"
		default:
			s.Sizes = append(s.Sizes, at)
		}
	}
	if len(s.Sizes) > 0 {
		return ""
	}
	return missing
}

// Fits asks whether a table can give the z-score when every number may lie
// anywhere in the interval its digits leave open.
func (s Scored) Fits(t *reference.Table, v *reference.Value, at Size) expr.Truth {
	half := max(s.Y.HalfStep, math.Abs(s.Y.X)*SinglePrecision)
	low, high := math.Inf(1), math.Inf(-1)
	for _, y := range []float64{s.Y.X - half, s.Y.X + half} {
		for _, area := range []float64{at.Low, at.High} {
			z := t.Z(v, y, area)
			low, high = min(low, z), max(high, z) // NaN stays NaN
		}
	}
	if math.IsNaN(low) || math.IsNaN(high) || !t.Surface.Holds(at.X) {
		return expr.Unknown
	}
	slack := max(s.Z.HalfStep, math.Abs(s.Z.X)*SinglePrecision) + 1e-9
	if s.Z.X+slack >= low && s.Z.X-slack <= high {
		return expr.True
	}
	return expr.False
}

// FitsAny asks whether a table can give the z-score at any of the sizes.
func (s Scored) FitsAny(t *reference.Table, v *reference.Value) bool {
	return slices.ContainsFunc(s.Sizes, func(at Size) bool { return s.Fits(t, v, at) == expr.True })
}
