package seeded

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/phantom"
)

// mistake is one fault seeded into a record.
type mistake struct {
	kind     string
	text     string
	taken    bool     // the scanner computed on from the wrong number; otherwise it was only written wrong
	spoiled  []string // measurands that are wrong at the source
	followed []string // measurands computed from them
	causes   []string // what the program may call it
	subjects []string // measurands the cause may name, those spoiled when empty
}

// maker seeds a fault of one kind; false when the record or the draw does not
// allow one.
type maker struct {
	kind string
	make func(s *seeder) (mistake, bool)
}

// seeder seeds into one record.
type seeder struct {
	*phantom.Record
	dialect phantom.Dialect
	random  *rand.Rand
}

func (s *seeder) coin() bool { return s.random.IntN(2) == 0 }

func pickOne[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

// derives reports whether scanners compute the measurand.
func derives(measurand string) bool {
	return slices.ContainsFunc(phantom.Equations(), func(e phantom.Equation) bool { return e.Out == measurand })
}

// some is a measurand of the record that the condition takes.
func (s *seeder) some(keep func(m string) bool) (string, bool) {
	list := slices.DeleteFunc(s.All(), func(m string) bool { return !keep(m) || !s.Known(m) })
	if len(list) == 0 {
		return "", false
	}
	return pickOne(s.random, list), true
}

// spoil writes another value, and half of the time lets the scanner compute on
// from it.
func (s *seeder) spoil(kind, measurand string, value float64, causes ...string) (mistake, bool) {
	m := mistake{kind: kind, spoiled: []string{measurand}, causes: causes, taken: s.coin()}
	s.Put(measurand, value)
	if m.taken {
		m.followed = s.Follow(measurand)
	}
	m.taken = len(m.followed) > 0
	return m, true
}

// makers lists the kinds of the mistakes that happen in echo reports.
func makers() []maker {
	return []maker{
		{"unit slip", unitSlips}, {"decimal point", decimalPoints}, {"phases or calipers exchanged", phases},
		{"diameter as radius", radii}, {"square left out", squares}, {"atrial pressure left out or twice", atrialPressures},
		{"other site, beat or method", otherSites}, {"height and weight exchanged", sizes}, {"pounds or inches", imperials},
		{"not indexed, or twice", indexings}, {"copied from another item", copyings}, {"digits transposed", transpositions},
		{"digit dropped", droppings}, {"old result kept after an edit", edits},
	}
}

func unitSlips(s *seeder) (mistake, bool) {
	factors := map[phantom.Kind][]float64{
		phantom.Length: {10, 0.1}, phantom.BloodVelocity: {100, 0.01}, phantom.TissueVelocity: {0.01}, phantom.Area: {100, 0.01}, phantom.Integral: {10, 0.01}, phantom.Fraction: {0.01},
	}
	if s.dialect.Units[phantom.Interval].Decimals < 0 {
		factors[phantom.Interval] = []float64{0.001} // whole milliseconds would show nothing
	}
	m, ok := s.some(func(m string) bool { return len(factors[s.Kind(m)]) > 0 })
	if !ok {
		return mistake{}, false
	}
	return s.spoil("unit slip", m, s.Number(m)*pickOne(s.random, factors[s.Kind(m)]), "unit-slip")
}

func decimalPoints(s *seeder) (mistake, bool) {
	unsuited := []phantom.Kind{phantom.Length, phantom.Years, phantom.StrainKind, phantom.Stature}
	m, ok := s.some(func(m string) bool { return !slices.Contains(unsuited, s.Kind(m)) })
	if !ok {
		return mistake{}, false
	}
	by := pickOne(s.random, []float64{10, 10, 0.1, 0.1, 100})
	causes := []string{"decimal-point"}
	if by == 100 || s.Kind(m) == phantom.Integral {
		causes = append(causes, "unit-slip") // m/s for cm/s is the same step
	}
	return s.spoil("decimal point", m, s.Number(m)*by, causes...)
}

func phases(s *seeder) (mistake, bool) {
	pairs := [][2]string{
		{phantom.CavityD, phantom.CavityS}, {phantom.BiplaneD, phantom.BiplaneS}, {phantom.FourD, phantom.FourS}, {phantom.TwoD, phantom.TwoS}, {phantom.RightD, phantom.RightSys}, {phantom.CavaWide, phantom.CavaNarrow},
		{phantom.EarlyPR, phantom.EndPR}, {phantom.ClosureOpening, phantom.RightET}, {phantom.WaveE, phantom.WaveA}, {phantom.Systole, phantom.Diastole}, {phantom.SeptumD, phantom.CavityD}, {phantom.OutflowV, phantom.AorticV},
		{phantom.OutflowVTI, phantom.AorticVTI}, {phantom.AorticPeak, phantom.AorticMeanG}, {phantom.PrimeSeptal, phantom.PrimeLateral},
	}
	pairs = slices.DeleteFunc(pairs, func(p [2]string) bool { return !s.Known(p[0]) || !s.Known(p[1]) })
	if len(pairs) == 0 {
		return mistake{}, false
	}
	p := pickOne(s.random, pairs)
	a, b := s.Number(p[0]), s.Number(p[1])
	s.Put(p[0], b)
	s.Put(p[1], a)
	m := mistake{spoiled: p[:], causes: []string{"exchanged"}}
	if s.coin() {
		m.followed = s.Follow(p[:]...)
		m.taken = len(m.followed) > 0
	}
	return m, true
}

func radii(s *seeder) (mistake, bool) {
	diameters := []string{phantom.OutflowD, phantom.RvotD, phantom.JetPISA, phantom.MitralPISA}
	m, ok := s.some(func(m string) bool { return slices.Contains(diameters, m) })
	if !ok {
		return mistake{}, false
	}
	by := 0.5 // the radius in place of the diameter
	if m == phantom.JetPISA || m == phantom.MitralPISA {
		by = 2
	}
	return s.spoil("", m, s.Number(m)*by, "radius-for-diameter")
}

func squares(s *seeder) (mistake, bool) {
	root := map[string]func() float64{
		phantom.AorticPeak:    func() float64 { return 4 * s.Number(phantom.AorticV) },
		phantom.JetGradient:   func() float64 { return 4 * s.Number(phantom.JetVelocity) },
		phantom.PulmonaryPeak: func() float64 { return 4 * s.Number(phantom.PulmonaryV) },
		phantom.RightPressure: func() float64 { return 4*s.Number(phantom.JetVelocity) + s.Number(phantom.AtrialP) },
		phantom.StrokeV:       func() float64 { return math.Pi / 4 * s.Number(phantom.OutflowD) * s.Number(phantom.OutflowVTI) },
		phantom.AorticArea: func() float64 {
			return math.Pi / 4 * s.Number(phantom.OutflowD) * s.Number(phantom.OutflowVTI) / s.Number(phantom.AorticVTI)
		},
		phantom.JetEROA: func() float64 {
			return 2 * math.Pi * s.Number(phantom.JetPISA) * s.Number(phantom.JetAliasV) / s.Number(phantom.JetVelocity)
		},
		phantom.MitralEROA: func() float64 {
			return 2 * math.Pi * s.Number(phantom.MitralPISA) * s.Number(phantom.MitralAliasV) / s.Number(phantom.MitralV)
		},
	}
	m, ok := s.some(func(m string) bool { return root[m] != nil })
	if !ok {
		return mistake{}, false
	}
	out, ok := s.spoil("", m, root[m](), "not-squared")
	for _, e := range phantom.Equations() {
		if e.Out == m {
			out.subjects = append(slices.Clone(e.In), m)
		}
	}
	return out, ok
}

func atrialPressures(s *seeder) (mistake, bool) {
	if !s.Known(phantom.RightPressure) {
		return mistake{}, false
	}
	times := pickOne(s.random, []float64{0, 2})
	out, ok := s.spoil("", phantom.RightPressure, phantom.Gradient(s.Number(phantom.JetVelocity))+times*s.Number(phantom.AtrialP), "atrial-pressure")
	out.subjects = []string{phantom.RightPressure, phantom.AtrialP}
	return out, ok
}

// otherSites computes a result from the value of another site, beat or method.
func otherSites(s *seeder) (mistake, bool) {
	swaps := []struct{ out, in, instead string }{
		{phantom.RatioSeptal, phantom.PrimeSeptal, phantom.PrimeLateral}, {phantom.RatioLateral, phantom.PrimeLateral, phantom.PrimeSeptal}, {phantom.BiplaneDI, phantom.BiplaneD, phantom.FourD}, {phantom.BiplaneSI, phantom.BiplaneS, phantom.TwoS},
		{phantom.BiplaneF, phantom.BiplaneS, phantom.FourS}, {phantom.AorticPeak, phantom.AorticV, phantom.OutflowV}, {phantom.AorticArea, phantom.OutflowVTI, phantom.RvotVTI}, {phantom.AorticArea, phantom.AorticVTI, phantom.OutflowVTI},
		{phantom.StrokeV, phantom.OutflowD, phantom.RvotD}, {phantom.StrokeV, phantom.OutflowVTI, phantom.AorticVTI}, {phantom.StrokeV, phantom.OutflowVTI, phantom.RvotVTI}, {phantom.JetGradient, phantom.JetVelocity, ""},
		{phantom.RightPressure, phantom.JetVelocity, ""}, {phantom.TricuspidRatio, phantom.TricuspidWaveE, ""}, {phantom.WaveRatio, phantom.WaveE, ""}, {phantom.WaveRatio, phantom.WaveA, ""}, {phantom.RatioSeptal, phantom.PrimeSeptal, ""},
		{phantom.StrokeV, phantom.OutflowVTI, ""}, {phantom.Shortening, phantom.CavityS, ""}, {phantom.PulmonaryPeak, phantom.PulmonaryV, "rvot-peak-velocity"},
		{phantom.JetEROA, phantom.JetVelocity, phantom.MitralV}, {phantom.JetVol, phantom.JetVTI, phantom.MitralVTI}, {phantom.WaveRatio, phantom.WaveE, phantom.TricuspidWaveE},
	}
	c := pickOne(s.random, swaps)
	e := phantom.Equations()[slices.IndexFunc(phantom.Equations(), func(e phantom.Equation) bool { return e.Out == c.out })]
	x, ok := s.Numbers(e.In)
	if !ok || !s.Known(c.out) || c.instead != "" && !s.Known(c.instead) {
		return mistake{}, false
	}
	other := 0.0
	if c.instead != "" {
		other = s.Number(c.instead)
	} else if other = s.anotherBeat(c.in); other == 0 {
		return mistake{}, false
	}
	x[slices.Index(e.In, c.in)] = other
	m, ok := s.spoil("", c.out, e.F(x), "other-site-or-method", "other-value-of-the-same")
	m.subjects = []string{c.out, c.in}
	return m, ok
}

// anotherBeat is a single value of the measurand that does not count, 0 when
// there is none.
func (s *seeder) anotherBeat(measurand string) float64 {
	counts := s.Number(measurand)
	var others []float64
	for _, r := range s.Find(measurand) {
		for _, v := range r.Values {
			if math.Abs(v-counts) > 0.01*counts {
				others = append(others, v)
			}
		}
	}
	if len(others) == 0 {
		return 0
	}
	return pickOne(s.random, others)
}

func sizes(s *seeder) (mistake, bool) {
	if !s.Known(phantom.Height) {
		return mistake{}, false
	}
	a, b := s.Number(phantom.Height), s.Number(phantom.Weight)
	s.Put(phantom.Height, b)
	s.Put(phantom.Weight, a)
	m := mistake{spoiled: []string{phantom.Height, phantom.Weight}, causes: []string{"height-and-weight-exchanged"}}
	if s.coin() {
		m.followed, m.taken = s.Follow(phantom.Height, phantom.Weight), true
	}
	return m, true
}

func imperials(s *seeder) (mistake, bool) {
	if !s.Known(phantom.Height) {
		return mistake{}, false
	}
	pounds, inches := s.Number(phantom.Weight)*2.20462, s.Number(phantom.Height)/2.54
	switch s.random.IntN(3) {
	case 0:
		return s.spoil("", phantom.Weight, pounds, "pounds-or-inches")
	case 1:
		return s.spoil("", phantom.Height, inches, "pounds-or-inches")
	}
	m, ok := s.spoil("", phantom.SurfaceBSA, phantom.DuBois(s.Number(phantom.Height), pounds), "pounds-or-inches")
	m.subjects = []string{phantom.Weight, phantom.Height, phantom.SurfaceBSA}
	return m, ok
}

func indexings(s *seeder) (mistake, bool) {
	pairs := map[string]string{
		phantom.MuscleIndex: phantom.MuscleMass, phantom.BiplaneDI: phantom.BiplaneD, phantom.BiplaneSI: phantom.BiplaneS, phantom.StrokeI: phantom.StrokeV, phantom.OutputI: phantom.OutputV, phantom.AtriumI: phantom.AtriumV, phantom.AorticAreaI: phantom.AorticArea,
	}
	m, ok := s.some(func(m string) bool { return pairs[m] != "" })
	if !ok {
		return mistake{}, false
	}
	plain := s.Number(pairs[m])
	switch s.random.IntN(3) {
	case 0:
		return s.spoil("", m, plain, "indexing")
	case 1:
		return s.spoil("", m, s.Number(m)/s.Number(phantom.SurfaceBSA), "indexing")
	}
	s.Put(pairs[m], s.Number(m)) // the index under the name of the whole
	return mistake{spoiled: []string{pairs[m]}, causes: []string{"indexing"}, subjects: []string{pairs[m], m}}, true
}

func copyings(s *seeder) (mistake, bool) {
	m, ok := s.some(func(m string) bool { p, _ := s.Field(m); return p == nil })
	if !ok {
		return mistake{}, false
	}
	donor, ok := s.some(func(d string) bool {
		p, _ := s.Field(d)
		if p != nil || d == m || s.Kind(d) != s.Kind(m) || s.Number(m) == 0 {
			return false
		}
		ratio := s.Number(d) / s.Number(m)
		return ratio > 0 && (ratio < 0.8 || ratio > 1.25)
	})
	if !ok {
		return mistake{}, false
	}
	s.typed(m, s.Number(donor))
	return mistake{text: "from " + donor, spoiled: []string{m}, causes: []string{"copied"}}, true
}

// typed replaces whatever stands for the measurand by one number put in by
// hand.
func (s *seeder) typed(measurand string, value float64) {
	if p, _ := s.Field(measurand); p != nil {
		*p = value
		return
	}
	readings := s.Find(measurand)
	if measurand != phantom.JetVelocity {
		readings = readings[len(readings)-1:]
	}
	for _, r := range readings {
		if r.Chosen || measurand != phantom.JetVelocity {
			r.Values, r.Mean = []float64{value}, false
		}
	}
}

// digits takes a number as it would be typed and changes its digits.
func (s *seeder) digits(change func(text string) string, causes ...string) (mistake, bool) {
	m, ok := s.some(func(m string) bool { return s.Kind(m) != phantom.Years })
	if !ok {
		return mistake{}, false
	}
	form := s.dialect.Units[s.Kind(m)]
	text := phantom.Decimal(s.Number(m)*form.Factor, form.Decimals)
	if form.Decimals < 0 { // nobody types all digits of a machine
		text = strconv.FormatFloat(s.Number(m)*form.Factor, 'g', 3, 64)
	}
	changed := change(text)
	if changed == "" || changed == text {
		return mistake{}, false
	}
	x, err := strconv.ParseFloat(changed, 64)
	if err != nil || x == 0 {
		return mistake{}, false
	}
	s.typed(m, x/form.Factor)
	return mistake{text: text + " as " + changed, spoiled: []string{m}, causes: causes}, true
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func transpositions(s *seeder) (mistake, bool) {
	return s.digits(func(text string) string {
		i := s.random.IntN(len(text))
		j := i + 1
		if j < len(text) && text[j] == '.' {
			j++
		}
		if j >= len(text) || !isDigit(text[i]) || !isDigit(text[j]) {
			return ""
		}
		b := []byte(text)
		b[i], b[j] = b[j], b[i]
		if b[0] == '0' || b[len(b)-1] == '0' {
			return "" // nobody writes it so
		}
		return string(b)
	}, "digits-transposed")
}

func droppings(s *seeder) (mistake, bool) {
	return s.digits(func(text string) string {
		i := s.random.IntN(len(text))
		if !isDigit(text[i]) || strings.Trim(text, "-0.") == "" || i+1 < len(text) && text[i+1] == '0' {
			return ""
		}
		return strings.TrimSuffix(text[:i]+text[i+1:], ".")
	}, "digit-dropped")
}

// edits measures an input again after the results were computed.
func edits(s *seeder) (mistake, bool) {
	m, ok := s.some(func(m string) bool {
		return !derives(m) && slices.ContainsFunc(phantom.Equations(), func(e phantom.Equation) bool { return slices.Contains(e.In, m) && s.Known(e.Out) })
	})
	if !ok {
		return mistake{}, false
	}
	by := 1 + phantom.Span{Low: 0.08, High: 0.3}.Draw(s.random)
	if s.coin() {
		by = 1 / by
	}
	s.Put(m, s.Number(m)*by)
	out := mistake{spoiled: []string{m}, causes: []string{"kept-after-edit"}, subjects: []string{m}}
	for _, e := range phantom.Equations() {
		if slices.Contains(e.In, m) && s.Known(e.Out) {
			out.subjects = append(out.subjects, e.Out)
		}
	}
	return out, true
}
