package demo

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
)

// The judge of a seeded fault: whether the numbers as written contradict each
// other at all. It is written out here, apart from the rules, so that a rule
// that looks away does not make its faults vanish from the count.

// equation ties numbers of one study.
type equation struct {
	out    string
	in     []string
	f      func(x []float64) float64
	slack  float64 // allowed beyond rounding, as the rules state it: means of several beats are not exact
	factor float64 // two ways to one quantity: they may differ by this factor
	order  bool    // out must lie below f
	unless func(profile) bool
}

func regurgitant(p profile) bool {
	return p.mitralRegurgitation >= moderate || p.rhythm == atrialFibrillation
}

func flutters(p profile) bool { return p.rhythm == atrialFibrillation }

func child(p profile) bool { return p.extent == pediatric }

// share is the fall from the first to the second in percent.
func share(x []float64) float64 { return 100 * (x[0] - x[1]) / x[0] }

func quotient(x []float64) float64 { return x[0] / x[1] }

func itself(x []float64) float64 { return x[0] }

func bernoulli(x []float64) float64 { return gradient(x[0]) }

func tube(x []float64) float64 { return circleArea(x[0]) * x[1] }

// teichholz is the ejection fraction from dimensions (Teichholz 1976), %.
func teichholz(x []float64) float64 {
	v := func(d float64) float64 { return 7 / (2.4 + d) * d * d * d }
	return 100 * (v(x[0]) - v(x[1])) / v(x[0])
}

const (
	septumD, cavityD, cavityS, posteriorD = "interventricular-septum-thickness-diastole", "left-ventricular-internal-diameter-diastole", "left-ventricular-internal-diameter-systole", "left-ventricular-posterior-wall-thickness-diastole"
	muscleMass, muscleIndex               = "left-ventricular-mass", "left-ventricular-mass-index"
	shortening                            = "left-ventricular-fractional-shortening"
	biplaneD, biplaneS                    = "left-ventricular-end-diastolic-volume-biplane", "left-ventricular-end-systolic-volume-biplane"
	fourD, fourS                          = "left-ventricular-end-diastolic-volume-four-chamber", "left-ventricular-end-systolic-volume-four-chamber"
	twoD, twoS                            = "left-ventricular-end-diastolic-volume-two-chamber", "left-ventricular-end-systolic-volume-two-chamber"
	biplaneF, biplaneDI, biplaneSI        = "left-ventricular-ejection-fraction-biplane", "left-ventricular-end-diastolic-volume-index", "left-ventricular-end-systolic-volume-index"
	outflowD, outflowVTI, outflowV        = "lvot-diameter", "lvot-velocity-time-integral", "lvot-peak-velocity"
	strokeV, strokeI                      = "stroke-volume-lvot", "stroke-volume-index-lvot"
	outputV, outputI                      = "cardiac-output-lvot", "cardiac-index-lvot"
	height, weight, surfaceBSA, heartRate = "body-height", "body-weight", "body-surface-area", "heart-rate"
	systole, diastole                     = "systolic-blood-pressure", "diastolic-blood-pressure"
	waveE, waveA, waveRatio               = "mitral-valve-e-wave-velocity", "mitral-valve-a-wave-velocity", "mitral-valve-e-to-a-ratio"
	primeSeptal, primeLateral             = "mitral-annular-velocity-e-prime-septal", "mitral-annular-velocity-e-prime-lateral"
	ratioSeptal, ratioLateral             = "mitral-e-to-e-prime-ratio-septal", "mitral-e-to-e-prime-ratio-lateral"
	atriumFour, atriumTwo, atriumLength   = "left-atrial-area-four-chamber", "left-atrial-area-two-chamber", "left-atrial-length-four-chamber"
	atriumV, atriumI                      = "left-atrial-volume-biplane-area-length", "left-atrial-volume-index-biplane-area-length"
	aorticV, aorticVTI, aorticPeak        = "aortic-valve-peak-velocity", "aortic-valve-velocity-time-integral", "aortic-valve-peak-gradient"
	aorticMeanG, aorticArea, aorticAreaI  = "aortic-valve-mean-gradient", "aortic-valve-area-continuity", "aortic-valve-area-index"
	mitralV, mitralVTI, mitralPISA        = "mitral-regurgitation-peak-velocity", "mitral-regurgitation-velocity-time-integral", "mitral-regurgitation-pisa-radius"
	mitralAliasV, mitralEROA, mitralVol   = "mitral-regurgitation-pisa-velocity", "mitral-regurgitation-effective-orifice-area", "mitral-regurgitation-volume"
	rightD, rightSys, rightF              = "right-ventricular-area-diastole", "right-ventricular-area-systole", "right-ventricular-fractional-area-change"
	closureOpening, rightET, rightIndex   = "tricuspid-valve-closure-to-opening-time", "right-ventricular-ejection-time", "right-ventricular-performance-index"
	pulmonaryV, pulmonaryPeak             = "pulmonary-valve-peak-velocity", "pulmonary-valve-peak-gradient"
	rvotD, rvotVTI                        = "rvot-diameter-distal", "rvot-velocity-time-integral"
	earlyPR, endPR                        = "pulmonary-regurgitation-peak-velocity", "pulmonary-regurgitation-end-diastolic-velocity"
	tricuspidWaveE, tricuspidWaveA        = "tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity"
	tricuspidRatio                        = "tricuspid-valve-e-to-a-ratio"
	tricuspidDT, tricuspidPHT             = "tricuspid-valve-deceleration-time", "tricuspid-valve-pressure-half-time"
	tricuspidVTI, tricuspidCont           = "tricuspid-valve-inflow-velocity-time-integral", "tricuspid-valve-area-continuity"
	tricuspidByPHT                        = "tricuspid-valve-area-pressure-half-time"
	jetGradient, jetVTI, jetPISA          = "tricuspid-regurgitation-peak-gradient", "tricuspid-regurgitation-velocity-time-integral", "tricuspid-regurgitation-pisa-radius"
	jetAliasV, jetEROA, jetVol            = "tricuspid-regurgitation-pisa-velocity", "tricuspid-regurgitation-effective-orifice-area", "tricuspid-regurgitation-volume"
	cavaWide, cavaNarrow, cavaCollapse    = "inferior-vena-cava-diameter-expiration", "inferior-vena-cava-diameter-inspiration", "inferior-vena-cava-collapse"
	atrialP, rightPressure                = "right-atrial-pressure", "right-ventricular-systolic-pressure"
	tapse, sPrime                         = "tricuspid-annular-plane-systolic-excursion", "tricuspid-annular-velocity-s-prime"
)

// equations lists what a scanner computes, in the order in which it computes.
func equations() []equation {
	return []equation{
		{out: surfaceBSA, in: []string{height, weight}, f: func(x []float64) float64 { return duBois(x[0], x[1]) }, factor: 1.05, unless: child},
		{out: shortening, in: []string{cavityD, cavityS}, f: share, slack: 1},
		{out: muscleMass, in: []string{septumD, cavityD, posteriorD}, f: func(x []float64) float64 { return ventricularMass(x[0], x[1], x[2]) }, slack: 2},
		{out: muscleIndex, in: []string{muscleMass, surfaceBSA}, f: quotient, slack: 1},
		{out: biplaneF, in: []string{biplaneD, biplaneS}, f: share, slack: 2},
		{out: biplaneDI, in: []string{biplaneD, surfaceBSA}, f: quotient, slack: 0.7},
		{out: biplaneSI, in: []string{biplaneS, surfaceBSA}, f: quotient, slack: 0.7},
		{out: strokeV, in: []string{outflowD, outflowVTI}, f: tube, slack: 1.5},
		{out: strokeI, in: []string{strokeV, surfaceBSA}, f: quotient, slack: 0.7},
		{out: outputV, in: []string{strokeV, heartRate}, f: func(x []float64) float64 { return x[0] * x[1] / 1000 }, unless: flutters, slack: 0.2},
		{out: outputI, in: []string{outputV, surfaceBSA}, f: quotient, slack: 0.08},
		{out: waveRatio, in: []string{waveE, waveA}, f: quotient, slack: 0.05},
		{out: ratioSeptal, in: []string{waveE, primeSeptal}, f: func(x []float64) float64 { return 100 * x[0] / x[1] }, slack: 0.5},
		{out: ratioLateral, in: []string{waveE, primeLateral}, f: func(x []float64) float64 { return 100 * x[0] / x[1] }, slack: 0.5},
		{out: atriumV, in: []string{atriumFour, atriumTwo, atriumLength}, f: func(x []float64) float64 { return 0.85 * x[0] * x[1] / x[2] }, slack: 1},
		{out: atriumI, in: []string{atriumV, surfaceBSA}, f: quotient, slack: 0.7},
		{out: aorticPeak, in: []string{aorticV}, f: bernoulli, slack: 1},
		{out: aorticArea, in: []string{outflowD, outflowVTI, aorticVTI}, f: func(x []float64) float64 { return tube(x) / x[2] }, slack: 0.02},
		{out: aorticAreaI, in: []string{aorticArea, surfaceBSA}, f: quotient, slack: 0.02},
		{out: mitralEROA, in: []string{mitralPISA, mitralAliasV, mitralV}, f: func(x []float64) float64 { return orifice(x[0], x[1], x[2]) }, slack: 0.01},
		{out: mitralVol, in: []string{mitralEROA, mitralVTI}, f: func(x []float64) float64 { return x[0] * x[1] }, slack: 2},
		{out: rightF, in: []string{rightD, rightSys}, f: share, slack: 2},
		{out: rightIndex, in: []string{closureOpening, rightET}, f: func(x []float64) float64 { return (x[0] - x[1]) / x[1] }, slack: 0.02},
		{out: pulmonaryPeak, in: []string{pulmonaryV}, f: bernoulli, slack: 1},
		{out: tricuspidRatio, in: []string{tricuspidWaveE, tricuspidWaveA}, f: quotient, slack: 0.05},
		{out: tricuspidPHT, in: []string{tricuspidDT}, f: func(x []float64) float64 { return 0.29 * x[0] }, factor: 1.4},
		{out: tricuspidCont, in: []string{outflowD, outflowVTI, tricuspidVTI}, f: func(x []float64) float64 { return tube(x) / x[2] }, slack: 0.05},
		{out: tricuspidByPHT, in: []string{tricuspidPHT}, f: func(x []float64) float64 { return 190 / x[0] }, slack: 0.05},
		{out: jetGradient, in: []string{jetVelocity}, f: bernoulli, slack: 1},
		{out: jetEROA, in: []string{jetPISA, jetAliasV, jetVelocity}, f: func(x []float64) float64 { return orifice(x[0], x[1], x[2]) }, slack: 0.01},
		{out: jetVol, in: []string{jetEROA, jetVTI}, f: func(x []float64) float64 { return x[0] * x[1] }, slack: 2},
		{out: cavaCollapse, in: []string{cavaWide, cavaNarrow}, f: share, slack: 2},
		{out: rightPressure, in: []string{jetVelocity, atrialP}, f: func(x []float64) float64 { return gradient(x[0]) + x[1] }, slack: 1},
	}
}

// crossChecks lists what must agree or stand in order though nobody computes
// it. The factors are about the limits of agreement of two single readings
// (1.96 times the spread of both) with published coefficients of variation: 20
// % between flow and volumes (Zoghbi 2017), 10 % of a volume, 5 % of a diameter
// or an integral.
func crossChecks() []equation {
	volumes := func(x []float64) float64 { return x[0] - x[1] }
	below := func(low, high string) equation { return equation{out: low, in: []string{high}, f: itself, order: true} }
	return []equation{
		{out: strokeV, in: []string{biplaneD, biplaneS}, f: volumes, factor: 2, unless: regurgitant},
		{out: strokeV, in: []string{rvotD, rvotVTI}, f: tube, factor: 2},
		{out: outflowV, in: []string{aorticV, outflowVTI, aorticVTI}, f: func(x []float64) float64 { return x[0] * x[1] / x[2] }, factor: 1.35},
		{out: biplaneD, in: []string{fourD, twoD}, f: func(x []float64) float64 { return math.Sqrt(x[0] * x[1]) }, factor: 1.4},
		{out: biplaneS, in: []string{fourS, twoS}, f: func(x []float64) float64 { return math.Sqrt(x[0] * x[1]) }, factor: 1.4},
		{out: biplaneF, in: []string{cavityD, cavityS}, f: teichholz, factor: 1.5},
		{out: tapse, in: []string{sPrime}, f: func(x []float64) float64 { return 0.176 * x[0] }, factor: 2},
		below(cavityS, cavityD), below(biplaneS, biplaneD), below(fourS, fourD), below(twoS, twoD), below(rightSys, rightD),
		below(cavaNarrow, cavaWide), below(endPR, earlyPR), below(rightET, closureOpening), below(diastole, systole),
		below(aorticMeanG, aorticPeak), below(outflowV, aorticV),
	}
}

// known reports whether the study has the measurand.
func (c *record) known(measurand string) bool {
	switch measurand {
	case height, weight, surfaceBSA:
		return c.subject.height > 0
	case heartRate, systole, diastole:
		return true
	}
	return c.has(measurand)
}

// field is the place of a number of the person.
func (c *record) field(measurand string) (*float64, kind) {
	s := &c.subject
	switch measurand {
	case height:
		return &s.height, stature
	case weight:
		return &s.weight, bodyMass
	case surfaceBSA:
		return &s.bodySurface, surface
	case heartRate:
		return &s.heartRate, rate
	case systole:
		return &s.systolic, pressure
	case diastole:
		return &s.diastolic, pressure
	}
	return nil, 0
}

func (c *record) number(measurand string) float64 {
	if p, _ := c.field(measurand); p != nil {
		return *p
	}
	return c.value(measurand)
}

func (c *record) kind(measurand string) kind {
	if p, k := c.field(measurand); p != nil {
		return k
	}
	return quantityOf(measurand).kind
}

// put gives the measurand another value; beats and views keep their proportions.
func (c *record) put(measurand string, value float64) {
	if p, _ := c.field(measurand); p != nil {
		*p = value
		return
	}
	factor := value / c.value(measurand)
	readings := c.find(measurand)
	if measurand != jetVelocity {
		readings = readings[len(readings)-1:]
	}
	for _, r := range readings {
		for i := range r.values {
			r.values[i] *= factor
		}
	}
}

// follow computes again what a scanner would compute from the measurands.
func (c *record) follow(changed ...string) (all []string) {
	dirty := map[string]bool{}
	for _, m := range changed {
		dirty[m] = true
	}
	for _, e := range equations() {
		touched := false
		for _, m := range e.in {
			touched = touched || dirty[m]
		}
		if x, ok := c.numbers(e.in); touched && ok && c.known(e.out) && !dirty[e.out] {
			c.put(e.out, e.f(x))
			dirty[e.out] = true
			all = append(all, e.out)
		}
	}
	return all
}

func (c *record) numbers(measurands []string) ([]float64, bool) {
	var out []float64
	for _, m := range measurands {
		if !c.known(m) {
			return nil, false
		}
		out = append(out, c.number(m))
	}
	return out, true
}

// as is a number as the dialect writes it, in the unit of the model, and half
// a unit of its last digit.
func (d dialect) as(k kind, value float64) (written, half float64) {
	form := d.units[k]
	text := decimal(value*form.factor, form.decimals)
	written, _ = strconv.ParseFloat(text, 64)
	_, behind, _ := strings.Cut(text, ".")
	half = math.Max(0.5*math.Pow(10, -float64(len(behind))), math.Abs(written)/(1<<22)) // a number of 32 bits
	return written / form.factor, half / form.factor
}

// spans is, for every measurand, the range of its values over many adults of the
// laboratory, twice as wide at either end.
func spans() map[string]span {
	out := map[string]span{}
	for i := range 600 {
		random := rand.New(rand.NewPCG(99, uint64(i)))
		p := profiles[i%len(profiles)]
		if child(p) {
			continue
		}
		c := plainRecord(p, random)
		for _, m := range c.all() {
			v := c.number(m)
			s, seen := out[m]
			if !seen {
				s = span{v, v}
			}
			out[m] = span{min(s.low, v), max(s.high, v)}
		}
	}
	for m, s := range out {
		switch {
		case s.low > 0:
			out[m] = span{s.low / 2, s.high * 2}
		case s.high < 0:
			out[m] = span{s.low * 2, s.high / 2}
		default:
			out[m] = span{s.low * 2, s.high * 2}
		}
	}
	return out
}

func plainRecord(p profile, random *rand.Rand) *record {
	s := newSubject(p, random)
	return measure(p, s, newCirculation(p, s, random), random)
}

// all lists the measurands of a record in order.
func (c *record) all() []string {
	out := []string{height, weight, surfaceBSA, heartRate, systole, diastole}
	seen := map[string]bool{}
	for _, r := range c.readings {
		if m := r.quantity.measurand; !seen[m] {
			seen[m] = true
			out = append(out, m)
		}
	}
	return out
}

// larger says why a fault is larger than the tolerance, "" when it is not.
func larger(d dialect, c *record, spoiled []string, ranges map[string]span) string {
	if broken := c.book(d).broken(); len(broken) > 0 {
		return "contradicts " + broken[0].out
	}
	for _, m := range spoiled {
		if child(c.profile) {
			break // no range of the adults is theirs
		}
		if v, s := c.number(m), ranges[m]; v < s.low || v > s.high {
			return "out of range: " + m
		}
	}
	return ""
}
