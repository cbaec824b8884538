package demo

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
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
	*record
	dialect dialect
	random  *rand.Rand
}

func (s *seeder) coin() bool { return s.random.IntN(2) == 0 }

func pickOne[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

// derives reports whether scanners compute the measurand.
func derives(measurand string) bool {
	return slices.ContainsFunc(equations(), func(e equation) bool { return e.out == measurand })
}

// some is a measurand of the record that the condition takes.
func (s *seeder) some(keep func(m string) bool) (string, bool) {
	list := slices.DeleteFunc(s.all(), func(m string) bool { return !keep(m) || !s.known(m) })
	if len(list) == 0 {
		return "", false
	}
	return pickOne(s.random, list), true
}

// spoil writes another value, and half of the time lets the scanner compute on
// from it.
func (s *seeder) spoil(kind, measurand string, value float64, causes ...string) (mistake, bool) {
	m := mistake{kind: kind, spoiled: []string{measurand}, causes: causes, taken: s.coin()}
	s.put(measurand, value)
	if m.taken {
		m.followed = s.follow(measurand)
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
	factors := map[kind][]float64{
		length: {10, 0.1}, bloodVelocity: {100, 0.01}, tissueVelocity: {0.01}, area: {100, 0.01}, integral: {10, 0.01}, fraction: {0.01},
	}
	if s.dialect.units[interval].decimals < 0 {
		factors[interval] = []float64{0.001} // whole milliseconds would show nothing
	}
	m, ok := s.some(func(m string) bool { return len(factors[s.kind(m)]) > 0 })
	if !ok {
		return mistake{}, false
	}
	return s.spoil("unit slip", m, s.number(m)*pickOne(s.random, factors[s.kind(m)]), "unit-slip")
}

func decimalPoints(s *seeder) (mistake, bool) {
	unsuited := []kind{length, years, strainKind, stature}
	m, ok := s.some(func(m string) bool { return !slices.Contains(unsuited, s.kind(m)) })
	if !ok {
		return mistake{}, false
	}
	by := pickOne(s.random, []float64{10, 10, 0.1, 0.1, 100})
	causes := []string{"decimal-point"}
	if by == 100 || s.kind(m) == integral {
		causes = append(causes, "unit-slip") // m/s for cm/s is the same step
	}
	return s.spoil("decimal point", m, s.number(m)*by, causes...)
}

func phases(s *seeder) (mistake, bool) {
	pairs := [][2]string{
		{cavityD, cavityS}, {biplaneD, biplaneS}, {fourD, fourS}, {twoD, twoS}, {rightD, rightSys}, {cavaWide, cavaNarrow},
		{earlyPR, endPR}, {closureOpening, rightET}, {waveE, waveA}, {systole, diastole}, {septumD, cavityD}, {outflowV, aorticV},
		{outflowVTI, aorticVTI}, {aorticPeak, aorticMeanG}, {primeSeptal, primeLateral},
	}
	pairs = slices.DeleteFunc(pairs, func(p [2]string) bool { return !s.known(p[0]) || !s.known(p[1]) })
	if len(pairs) == 0 {
		return mistake{}, false
	}
	p := pickOne(s.random, pairs)
	a, b := s.number(p[0]), s.number(p[1])
	s.put(p[0], b)
	s.put(p[1], a)
	m := mistake{spoiled: p[:], causes: []string{"exchanged"}}
	if s.coin() {
		m.followed = s.follow(p[:]...)
		m.taken = len(m.followed) > 0
	}
	return m, true
}

func radii(s *seeder) (mistake, bool) {
	diameters := []string{outflowD, rvotD, jetPISA, mitralPISA}
	m, ok := s.some(func(m string) bool { return slices.Contains(diameters, m) })
	if !ok {
		return mistake{}, false
	}
	by := 0.5 // the radius in place of the diameter
	if m == jetPISA || m == mitralPISA {
		by = 2
	}
	return s.spoil("", m, s.number(m)*by, "radius-for-diameter")
}

func squares(s *seeder) (mistake, bool) {
	root := map[string]func() float64{
		aorticPeak:    func() float64 { return 4 * s.number(aorticV) },
		jetGradient:   func() float64 { return 4 * s.number(jetVelocity) },
		pulmonaryPeak: func() float64 { return 4 * s.number(pulmonaryV) },
		rightPressure: func() float64 { return 4*s.number(jetVelocity) + s.number(atrialP) },
		strokeV:       func() float64 { return math.Pi / 4 * s.number(outflowD) * s.number(outflowVTI) },
		aorticArea:    func() float64 { return math.Pi / 4 * s.number(outflowD) * s.number(outflowVTI) / s.number(aorticVTI) },
		jetEROA:       func() float64 { return 2 * math.Pi * s.number(jetPISA) * s.number(jetAliasV) / s.number(jetVelocity) },
		mitralEROA: func() float64 {
			return 2 * math.Pi * s.number(mitralPISA) * s.number(mitralAliasV) / s.number(mitralV)
		},
	}
	m, ok := s.some(func(m string) bool { return root[m] != nil })
	if !ok {
		return mistake{}, false
	}
	out, ok := s.spoil("", m, root[m](), "not-squared")
	for _, e := range equations() {
		if e.out == m {
			out.subjects = append(slices.Clone(e.in), m)
		}
	}
	return out, ok
}

func atrialPressures(s *seeder) (mistake, bool) {
	if !s.known(rightPressure) {
		return mistake{}, false
	}
	times := pickOne(s.random, []float64{0, 2})
	out, ok := s.spoil("", rightPressure, gradient(s.number(jetVelocity))+times*s.number(atrialP), "atrial-pressure")
	out.subjects = []string{rightPressure, atrialP}
	return out, ok
}

// otherSites computes a result from the value of another site, beat or method.
func otherSites(s *seeder) (mistake, bool) {
	swaps := []struct{ out, in, instead string }{
		{ratioSeptal, primeSeptal, primeLateral}, {ratioLateral, primeLateral, primeSeptal}, {biplaneDI, biplaneD, fourD}, {biplaneSI, biplaneS, twoS},
		{biplaneF, biplaneS, fourS}, {aorticPeak, aorticV, outflowV}, {aorticArea, outflowVTI, rvotVTI}, {aorticArea, aorticVTI, outflowVTI},
		{strokeV, outflowD, rvotD}, {strokeV, outflowVTI, aorticVTI}, {strokeV, outflowVTI, rvotVTI}, {jetGradient, jetVelocity, ""},
		{rightPressure, jetVelocity, ""}, {tricuspidRatio, tricuspidWaveE, ""}, {waveRatio, waveE, ""}, {waveRatio, waveA, ""}, {ratioSeptal, primeSeptal, ""},
		{strokeV, outflowVTI, ""}, {shortening, cavityS, ""}, {pulmonaryPeak, pulmonaryV, "rvot-peak-velocity"},
		{jetEROA, jetVelocity, mitralV}, {jetVol, jetVTI, mitralVTI}, {waveRatio, waveE, tricuspidWaveE},
	}
	c := pickOne(s.random, swaps)
	e := equations()[slices.IndexFunc(equations(), func(e equation) bool { return e.out == c.out })]
	x, ok := s.numbers(e.in)
	if !ok || !s.known(c.out) || c.instead != "" && !s.known(c.instead) {
		return mistake{}, false
	}
	other := 0.0
	if c.instead != "" {
		other = s.number(c.instead)
	} else if other = s.anotherBeat(c.in); other == 0 {
		return mistake{}, false
	}
	x[slices.Index(e.in, c.in)] = other
	m, ok := s.spoil("", c.out, e.f(x), "other-site-or-method", "other-value-of-the-same")
	m.subjects = []string{c.out, c.in}
	return m, ok
}

// anotherBeat is a single value of the measurand that does not count, 0 when
// there is none.
func (s *seeder) anotherBeat(measurand string) float64 {
	counts := s.number(measurand)
	var others []float64
	for _, r := range s.find(measurand) {
		for _, v := range r.values {
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
	if !s.known(height) {
		return mistake{}, false
	}
	a, b := s.number(height), s.number(weight)
	s.put(height, b)
	s.put(weight, a)
	m := mistake{spoiled: []string{height, weight}, causes: []string{"height-and-weight-exchanged"}}
	if s.coin() {
		m.followed, m.taken = s.follow(height, weight), true
	}
	return m, true
}

func imperials(s *seeder) (mistake, bool) {
	if !s.known(height) {
		return mistake{}, false
	}
	pounds, inches := s.number(weight)*2.20462, s.number(height)/2.54
	switch s.random.IntN(3) {
	case 0:
		return s.spoil("", weight, pounds, "pounds-or-inches")
	case 1:
		return s.spoil("", height, inches, "pounds-or-inches")
	}
	m, ok := s.spoil("", surfaceBSA, duBois(s.number(height), pounds), "pounds-or-inches")
	m.subjects = []string{weight, height, surfaceBSA}
	return m, ok
}

func indexings(s *seeder) (mistake, bool) {
	pairs := map[string]string{
		muscleIndex: muscleMass, biplaneDI: biplaneD, biplaneSI: biplaneS, strokeI: strokeV, outputI: outputV, atriumI: atriumV, aorticAreaI: aorticArea,
	}
	m, ok := s.some(func(m string) bool { return pairs[m] != "" })
	if !ok {
		return mistake{}, false
	}
	plain := s.number(pairs[m])
	switch s.random.IntN(3) {
	case 0:
		return s.spoil("", m, plain, "indexing")
	case 1:
		return s.spoil("", m, s.number(m)/s.number(surfaceBSA), "indexing")
	}
	s.put(pairs[m], s.number(m)) // the index under the name of the whole
	return mistake{spoiled: []string{pairs[m]}, causes: []string{"indexing"}, subjects: []string{pairs[m], m}}, true
}

func copyings(s *seeder) (mistake, bool) {
	m, ok := s.some(func(m string) bool { p, _ := s.field(m); return p == nil })
	if !ok {
		return mistake{}, false
	}
	donor, ok := s.some(func(d string) bool {
		p, _ := s.field(d)
		if p != nil || d == m || s.kind(d) != s.kind(m) || s.number(m) == 0 {
			return false
		}
		ratio := s.number(d) / s.number(m)
		return ratio > 0 && (ratio < 0.8 || ratio > 1.25)
	})
	if !ok {
		return mistake{}, false
	}
	s.typed(m, s.number(donor))
	return mistake{text: "from " + donor, spoiled: []string{m}, causes: []string{"copied"}}, true
}

// typed replaces whatever stands for the measurand by one number put in by
// hand.
func (s *seeder) typed(measurand string, value float64) {
	if p, _ := s.field(measurand); p != nil {
		*p = value
		return
	}
	readings := s.find(measurand)
	if measurand != jetVelocity {
		readings = readings[len(readings)-1:]
	}
	for _, r := range readings {
		if r.chosen || measurand != jetVelocity {
			r.values, r.mean = []float64{value}, false
		}
	}
}

// digits takes a number as it would be typed and changes its digits.
func (s *seeder) digits(change func(text string) string, causes ...string) (mistake, bool) {
	m, ok := s.some(func(m string) bool { return s.kind(m) != years })
	if !ok {
		return mistake{}, false
	}
	form := s.dialect.units[s.kind(m)]
	text := decimal(s.number(m)*form.factor, form.decimals)
	if form.decimals < 0 { // nobody types all digits of a machine
		text = strconv.FormatFloat(s.number(m)*form.factor, 'g', 3, 64)
	}
	changed := change(text)
	if changed == "" || changed == text {
		return mistake{}, false
	}
	x, err := strconv.ParseFloat(changed, 64)
	if err != nil || x == 0 {
		return mistake{}, false
	}
	s.typed(m, x/form.factor)
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
		return !derives(m) && slices.ContainsFunc(equations(), func(e equation) bool { return slices.Contains(e.in, m) && s.known(e.out) })
	})
	if !ok {
		return mistake{}, false
	}
	by := 1 + span{0.08, 0.3}.draw(s.random)
	if s.coin() {
		by = 1 / by
	}
	s.put(m, s.number(m)*by)
	out := mistake{spoiled: []string{m}, causes: []string{"kept-after-edit"}, subjects: []string{m}}
	for _, e := range equations() {
		if slices.Contains(e.in, m) && s.known(e.out) {
			out.subjects = append(out.subjects, e.out)
		}
	}
	return out, true
}
