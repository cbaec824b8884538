package phantom

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
)

// The judge of a seeded fault: whether the numbers as written contradict each
// other at all. It is written out here, apart from the rules, so that a rule
// that looks away does not make its faults vanish from the count.

// Equation ties numbers of one study.
type Equation struct {
	Out    string
	In     []string
	F      func(x []float64) float64
	Slack  float64 // allowed beyond rounding, as the rules state it: means of several beats are not exact
	Factor float64 // two ways to one quantity: they may differ by this factor
	Order  bool    // out must lie below f
	Unless func(Profile) bool
}

func regurgitant(p Profile) bool {
	return p.mitralRegurgitation >= moderate || p.rhythm == atrialFibrillation
}

func flutters(p Profile) bool { return p.rhythm == atrialFibrillation }

// Child reports whether the patient is a child.
func Child(p Profile) bool { return p.Extent == Pediatric }

// share is the fall from the first to the second in percent.
func share(x []float64) float64 { return 100 * (x[0] - x[1]) / x[0] }

func quotient(x []float64) float64 { return x[0] / x[1] }

func itself(x []float64) float64 { return x[0] }

func bernoulli(x []float64) float64 { return Gradient(x[0]) }

func tube(x []float64) float64 { return CircleArea(x[0]) * x[1] }

// teichholz is the ejection fraction from dimensions (Teichholz 1976), %.
func teichholz(x []float64) float64 {
	v := func(d float64) float64 { return 7 / (2.4 + d) * d * d * d }
	return 100 * (v(x[0]) - v(x[1])) / v(x[0])
}

// The measurands that the equations tie together.
const (
	SeptumD, CavityD, CavityS, posteriorD = "interventricular-septum-thickness-diastole", "left-ventricular-internal-diameter-diastole", "left-ventricular-internal-diameter-systole", "left-ventricular-posterior-wall-thickness-diastole"
	MuscleMass, MuscleIndex               = "left-ventricular-mass", "left-ventricular-mass-index"
	Shortening                            = "left-ventricular-fractional-shortening"
	BiplaneD, BiplaneS                    = "left-ventricular-end-diastolic-volume-biplane", "left-ventricular-end-systolic-volume-biplane"
	FourD, FourS                          = "left-ventricular-end-diastolic-volume-four-chamber", "left-ventricular-end-systolic-volume-four-chamber"
	TwoD, TwoS                            = "left-ventricular-end-diastolic-volume-two-chamber", "left-ventricular-end-systolic-volume-two-chamber"
	BiplaneF, BiplaneDI, BiplaneSI        = "left-ventricular-ejection-fraction-biplane", "left-ventricular-end-diastolic-volume-index", "left-ventricular-end-systolic-volume-index"
	OutflowD, OutflowVTI, OutflowV        = "lvot-diameter", "lvot-velocity-time-integral", "lvot-peak-velocity"
	StrokeV, StrokeI                      = "stroke-volume-lvot", "stroke-volume-index-lvot"
	OutputV, OutputI                      = "cardiac-output-lvot", "cardiac-index-lvot"
	Height, Weight, SurfaceBSA, heartRate = "body-height", "body-weight", "body-surface-area", "heart-rate"
	Systole, Diastole                     = "systolic-blood-pressure", "diastolic-blood-pressure"
	WaveE, WaveA, WaveRatio               = "mitral-valve-e-wave-velocity", "mitral-valve-a-wave-velocity", "mitral-valve-e-to-a-ratio"
	PrimeSeptal, PrimeLateral             = "mitral-annular-velocity-e-prime-septal", "mitral-annular-velocity-e-prime-lateral"
	RatioSeptal, RatioLateral             = "mitral-e-to-e-prime-ratio-septal", "mitral-e-to-e-prime-ratio-lateral"
	atriumFour, atriumTwo, atriumLength   = "left-atrial-area-four-chamber", "left-atrial-area-two-chamber", "left-atrial-length-four-chamber"
	AtriumV, AtriumI                      = "left-atrial-volume-biplane-area-length", "left-atrial-volume-index-biplane-area-length"
	AorticV, AorticVTI, AorticPeak        = "aortic-valve-peak-velocity", "aortic-valve-velocity-time-integral", "aortic-valve-peak-gradient"
	AorticMeanG, AorticArea, AorticAreaI  = "aortic-valve-mean-gradient", "aortic-valve-area-continuity", "aortic-valve-area-index"
	MitralV, MitralVTI, MitralPISA        = "mitral-regurgitation-peak-velocity", "mitral-regurgitation-velocity-time-integral", "mitral-regurgitation-pisa-radius"
	MitralAliasV, MitralEROA, mitralVol   = "mitral-regurgitation-pisa-velocity", "mitral-regurgitation-effective-orifice-area", "mitral-regurgitation-volume"
	RightD, RightSys, rightF              = "right-ventricular-area-diastole", "right-ventricular-area-systole", "right-ventricular-fractional-area-change"
	ClosureOpening, RightET, rightIndex   = "tricuspid-valve-closure-to-opening-time", "right-ventricular-ejection-time", "right-ventricular-performance-index"
	PulmonaryV, PulmonaryPeak             = "pulmonary-valve-peak-velocity", "pulmonary-valve-peak-gradient"
	RvotD, RvotVTI                        = "rvot-diameter-distal", "rvot-velocity-time-integral"
	EarlyPR, EndPR                        = "pulmonary-regurgitation-peak-velocity", "pulmonary-regurgitation-end-diastolic-velocity"
	TricuspidWaveE, tricuspidWaveA        = "tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity"
	TricuspidRatio                        = "tricuspid-valve-e-to-a-ratio"
	tricuspidDT, tricuspidPHT             = "tricuspid-valve-deceleration-time", "tricuspid-valve-pressure-half-time"
	tricuspidVTI, tricuspidCont           = "tricuspid-valve-inflow-velocity-time-integral", "tricuspid-valve-area-continuity"
	tricuspidByPHT                        = "tricuspid-valve-area-pressure-half-time"
	JetGradient, JetVTI, JetPISA          = "tricuspid-regurgitation-peak-gradient", "tricuspid-regurgitation-velocity-time-integral", "tricuspid-regurgitation-pisa-radius"
	JetAliasV, JetEROA, JetVol            = "tricuspid-regurgitation-pisa-velocity", "tricuspid-regurgitation-effective-orifice-area", "tricuspid-regurgitation-volume"
	CavaWide, CavaNarrow, cavaCollapse    = "inferior-vena-cava-diameter-expiration", "inferior-vena-cava-diameter-inspiration", "inferior-vena-cava-collapse"
	AtrialP, RightPressure                = "right-atrial-pressure", "right-ventricular-systolic-pressure"
	tapse, sPrime                         = "tricuspid-annular-plane-systolic-excursion", "tricuspid-annular-velocity-s-prime"
)

// Equations lists what a scanner computes, in the order in which it computes.
func Equations() []Equation {
	return []Equation{
		{Out: SurfaceBSA, In: []string{Height, Weight}, F: func(x []float64) float64 { return DuBois(x[0], x[1]) }, Factor: 1.05, Unless: Child},
		{Out: Shortening, In: []string{CavityD, CavityS}, F: share, Slack: 1},
		{Out: MuscleMass, In: []string{SeptumD, CavityD, posteriorD}, F: func(x []float64) float64 { return ventricularMass(x[0], x[1], x[2]) }, Slack: 2},
		{Out: MuscleIndex, In: []string{MuscleMass, SurfaceBSA}, F: quotient, Slack: 1},
		{Out: BiplaneF, In: []string{BiplaneD, BiplaneS}, F: share, Slack: 2},
		{Out: BiplaneDI, In: []string{BiplaneD, SurfaceBSA}, F: quotient, Slack: 0.7},
		{Out: BiplaneSI, In: []string{BiplaneS, SurfaceBSA}, F: quotient, Slack: 0.7},
		{Out: StrokeV, In: []string{OutflowD, OutflowVTI}, F: tube, Slack: 1.5},
		{Out: StrokeI, In: []string{StrokeV, SurfaceBSA}, F: quotient, Slack: 0.7},
		{Out: OutputV, In: []string{StrokeV, heartRate}, F: func(x []float64) float64 { return x[0] * x[1] / 1000 }, Unless: flutters, Slack: 0.2},
		{Out: OutputI, In: []string{OutputV, SurfaceBSA}, F: quotient, Slack: 0.08},
		{Out: WaveRatio, In: []string{WaveE, WaveA}, F: quotient, Slack: 0.05},
		{Out: RatioSeptal, In: []string{WaveE, PrimeSeptal}, F: func(x []float64) float64 { return 100 * x[0] / x[1] }, Slack: 0.5},
		{Out: RatioLateral, In: []string{WaveE, PrimeLateral}, F: func(x []float64) float64 { return 100 * x[0] / x[1] }, Slack: 0.5},
		{Out: AtriumV, In: []string{atriumFour, atriumTwo, atriumLength}, F: func(x []float64) float64 { return 0.85 * x[0] * x[1] / x[2] }, Slack: 1},
		{Out: AtriumI, In: []string{AtriumV, SurfaceBSA}, F: quotient, Slack: 0.7},
		{Out: AorticPeak, In: []string{AorticV}, F: bernoulli, Slack: 1},
		{Out: AorticArea, In: []string{OutflowD, OutflowVTI, AorticVTI}, F: func(x []float64) float64 { return tube(x) / x[2] }, Slack: 0.02},
		{Out: AorticAreaI, In: []string{AorticArea, SurfaceBSA}, F: quotient, Slack: 0.02},
		{Out: MitralEROA, In: []string{MitralPISA, MitralAliasV, MitralV}, F: func(x []float64) float64 { return orifice(x[0], x[1], x[2]) }, Slack: 0.01},
		{Out: mitralVol, In: []string{MitralEROA, MitralVTI}, F: func(x []float64) float64 { return x[0] * x[1] }, Slack: 2},
		{Out: rightF, In: []string{RightD, RightSys}, F: share, Slack: 2},
		{Out: rightIndex, In: []string{ClosureOpening, RightET}, F: func(x []float64) float64 { return (x[0] - x[1]) / x[1] }, Slack: 0.02},
		{Out: PulmonaryPeak, In: []string{PulmonaryV}, F: bernoulli, Slack: 1},
		{Out: TricuspidRatio, In: []string{TricuspidWaveE, tricuspidWaveA}, F: quotient, Slack: 0.05},
		{Out: tricuspidPHT, In: []string{tricuspidDT}, F: func(x []float64) float64 { return 0.29 * x[0] }, Factor: 1.4},
		{Out: tricuspidCont, In: []string{OutflowD, OutflowVTI, tricuspidVTI}, F: func(x []float64) float64 { return tube(x) / x[2] }, Slack: 0.05},
		{Out: tricuspidByPHT, In: []string{tricuspidPHT}, F: func(x []float64) float64 { return 190 / x[0] }, Slack: 0.05},
		{Out: JetGradient, In: []string{JetVelocity}, F: bernoulli, Slack: 1},
		{Out: JetEROA, In: []string{JetPISA, JetAliasV, JetVelocity}, F: func(x []float64) float64 { return orifice(x[0], x[1], x[2]) }, Slack: 0.01},
		{Out: JetVol, In: []string{JetEROA, JetVTI}, F: func(x []float64) float64 { return x[0] * x[1] }, Slack: 2},
		{Out: cavaCollapse, In: []string{CavaWide, CavaNarrow}, F: share, Slack: 2},
		{Out: RightPressure, In: []string{JetVelocity, AtrialP}, F: func(x []float64) float64 { return Gradient(x[0]) + x[1] }, Slack: 1},
	}
}

// CrossChecks lists what must agree or stand in order though nobody computes
// it. The factors are about the limits of agreement of two single readings
// (1.96 times the spread of both) with published coefficients of variation: 20
// % between flow and volumes (Zoghbi 2017), 10 % of a volume, 5 % of a diameter
// or an integral.
func CrossChecks() []Equation {
	volumes := func(x []float64) float64 { return x[0] - x[1] }
	below := func(low, high string) Equation { return Equation{Out: low, In: []string{high}, F: itself, Order: true} }
	return []Equation{
		{Out: StrokeV, In: []string{BiplaneD, BiplaneS}, F: volumes, Factor: 2, Unless: regurgitant},
		{Out: StrokeV, In: []string{RvotD, RvotVTI}, F: tube, Factor: 2},
		{Out: OutflowV, In: []string{AorticV, OutflowVTI, AorticVTI}, F: func(x []float64) float64 { return x[0] * x[1] / x[2] }, Factor: 1.35},
		{Out: BiplaneD, In: []string{FourD, TwoD}, F: func(x []float64) float64 { return math.Sqrt(x[0] * x[1]) }, Factor: 1.4},
		{Out: BiplaneS, In: []string{FourS, TwoS}, F: func(x []float64) float64 { return math.Sqrt(x[0] * x[1]) }, Factor: 1.4},
		{Out: BiplaneF, In: []string{CavityD, CavityS}, F: teichholz, Factor: 1.5},
		{Out: tapse, In: []string{sPrime}, F: func(x []float64) float64 { return 0.176 * x[0] }, Factor: 2},
		below(CavityS, CavityD), below(BiplaneS, BiplaneD), below(FourS, FourD), below(TwoS, TwoD), below(RightSys, RightD),
		below(CavaNarrow, CavaWide), below(EndPR, EarlyPR), below(RightET, ClosureOpening), below(Diastole, Systole),
		below(AorticMeanG, AorticPeak), below(OutflowV, AorticV),
	}
}

// Known reports whether the study has the measurand.
func (c *Record) Known(measurand string) bool {
	switch measurand {
	case Height, Weight, SurfaceBSA:
		return c.Subject.Height > 0
	case heartRate, Systole, Diastole:
		return true
	}
	return c.Has(measurand)
}

// Field is the place of a number of the person.
func (c *Record) Field(measurand string) (*float64, Kind) {
	s := &c.Subject
	switch measurand {
	case Height:
		return &s.Height, Stature
	case Weight:
		return &s.Weight, BodyMass
	case SurfaceBSA:
		return &s.BodySurface, surface
	case heartRate:
		return &s.HeartRate, rate
	case Systole:
		return &s.Systolic, pressure
	case Diastole:
		return &s.Diastolic, pressure
	}
	return nil, 0
}

// Number is the value of a measurand in the unit of its kind.
func (c *Record) Number(measurand string) float64 {
	if p, _ := c.Field(measurand); p != nil {
		return *p
	}
	return c.Value(measurand)
}

// Kind is what kind of quantity a measurand is.
func (c *Record) Kind(measurand string) Kind {
	if p, k := c.Field(measurand); p != nil {
		return k
	}
	return QuantityOf(measurand).Kind
}

// Put gives the measurand another value; beats and views keep their proportions.
func (c *Record) Put(measurand string, value float64) {
	if p, _ := c.Field(measurand); p != nil {
		*p = value
		return
	}
	factor := value / c.Value(measurand)
	readings := c.Find(measurand)
	if measurand != JetVelocity {
		readings = readings[len(readings)-1:]
	}
	for _, r := range readings {
		for i := range r.Values {
			r.Values[i] *= factor
		}
	}
}

// Follow computes again what a scanner would compute from the measurands.
func (c *Record) Follow(changed ...string) (all []string) {
	dirty := map[string]bool{}
	for _, m := range changed {
		dirty[m] = true
	}
	for _, e := range Equations() {
		touched := false
		for _, m := range e.In {
			touched = touched || dirty[m]
		}
		if x, ok := c.Numbers(e.In); touched && ok && c.Known(e.Out) && !dirty[e.Out] {
			c.Put(e.Out, e.F(x))
			dirty[e.Out] = true
			all = append(all, e.Out)
		}
	}
	return all
}

// Numbers are the values of several measurands; false when one is not in the record.
func (c *Record) Numbers(measurands []string) ([]float64, bool) {
	var out []float64
	for _, m := range measurands {
		if !c.Known(m) {
			return nil, false
		}
		out = append(out, c.Number(m))
	}
	return out, true
}

// As is a number as the dialect writes it, in the unit of the model, and half
// a unit of its last digit.
func (d Dialect) As(k Kind, value float64) (written, half float64) {
	form := d.Units[k]
	text := Decimal(value*form.Factor, form.Decimals)
	written, _ = strconv.ParseFloat(text, 64)
	_, behind, _ := strings.Cut(text, ".")
	half = math.Max(0.5*math.Pow(10, -float64(len(behind))), math.Abs(written)/(1<<22)) // a number of 32 bits
	return written / form.Factor, half / form.Factor
}

// Spans is, for every measurand, the range of its values over many adults of the
// laboratory, twice as wide at either end.
func Spans() map[string]Span {
	out := map[string]Span{}
	for i := range 600 {
		random := rand.New(rand.NewPCG(99, uint64(i)))
		p := Profiles[i%len(Profiles)]
		if Child(p) {
			continue
		}
		c := PlainRecord(p, random)
		for _, m := range c.All() {
			v := c.Number(m)
			s, seen := out[m]
			if !seen {
				s = Span{v, v}
			}
			out[m] = Span{min(s.Low, v), max(s.High, v)}
		}
	}
	for m, s := range out {
		switch {
		case s.Low > 0:
			out[m] = Span{s.Low / 2, s.High * 2}
		case s.High < 0:
			out[m] = Span{s.Low * 2, s.High / 2}
		default:
			out[m] = Span{s.Low * 2, s.High * 2}
		}
	}
	return out
}

// PlainRecord is a record of a patient of the profile, without a fault.
func PlainRecord(p Profile, random *rand.Rand) *Record {
	s := NewSubject(p, random)
	return Measure(p, s, NewCirculation(p, s, random), random)
}

// All lists the measurands of a record in order.
func (c *Record) All() []string {
	out := []string{Height, Weight, SurfaceBSA, heartRate, Systole, Diastole}
	seen := map[string]bool{}
	for _, r := range c.Readings {
		if m := r.Quantity.Measurand; !seen[m] {
			seen[m] = true
			out = append(out, m)
		}
	}
	return out
}
