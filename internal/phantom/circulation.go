package phantom

import (
	"math"
	"math/rand/v2"
)

// Subject is an invented person.
type Subject struct {
	Sex                 string  // M or F
	Age                 float64 // years
	Height, Weight      float64 // cm, kg
	BodySurface         float64 // m2
	HeartRate           float64 // 1/min
	Systolic, Diastolic float64 // arterial pressure, mmHg
}

// Circulation is one heart, in unrounded numbers: lengths cm, areas cm2,
// volumes mL, blood velocities m/s, tissue velocities cm/s, pressures mmHg,
// times ms, fractions 1. Every derived field obeys its equation exactly.
type Circulation struct {
	// left ventricle
	Stroke, ejectionTime                              float64 // forward flow
	OutflowDiameter, OutflowIntegral, outflowVelocity float64
	endDiastolic, endSystolic                         float64 // biplane
	fourDiastolic, fourSystolic                       float64 // single plane, four chambers
	twoDiastolic, twoSystolic                         float64 // single plane, two chambers
	septum, Cavity, posterior, CavitySystolic         float64
	Strain                                            float64 // %

	// mitral inflow and annulus
	MitralE, mitralA, mitralDeceleration       float64
	septalE, lateralE, septalS, relaxationTime float64
	veinS, veinD                               float64 // pulmonary vein

	// atria
	leftVolume, leftLength, leftFour, leftTwo, leftDiameter float64
	rightArea                                               float64

	// aortic valve and aorta
	aorticIntegral, AorticVelocity, aorticMean float64
	annulus, sinus, junction, ascending, arch  float64

	// right ventricle
	basal, middle, RightDiastolic, RightSystolic float64
	Excursion, RightS, wall                      float64 // excursion in cm
	RightEjection, closureToOpening              float64
	tricuspidAnnularE                            float64

	// tricuspid valve
	TricuspidE, TricuspidA, tricuspidDeceleration float64 // end expiration
	inspirationRise                               float64 // of E and A, fraction
	tricuspidIntegral, tricuspidMean              float64
	tricuspidAnnulus                              float64
	TricuspidHalfTime                             float64
	Jet                                           float64 // highest velocity of regurgitation
	jetIntegral, jetRadius, jetAlias, jetWidth    float64 // alias m/s

	// pressures and veins
	AtrialPressure                       float64
	cavaExpiration, cavaInspiration      float64
	hepaticS, hepaticD                   float64
	AccelerationTime                     float64
	pulmonaryDiameter, pulmonaryIntegral float64 // outflow tract at the valve
	pulmonaryVelocity                    float64
	pulmonaryTrunk                       float64
	pulmonaryEnd, pulmonaryEarly         float64 // regurgitation velocities

	// mitral regurgitation
	mitralJet, mitralJetIntegral, mitralRadius, mitralAlias, mitralWidth float64
}

// Draw returns an even draw from the span.
func (s Span) Draw(r *rand.Rand) float64 { return s.Low + r.Float64()*(s.High-s.Low) }

// near returns a value within the fraction of the centre.
func near(r *rand.Rand, centre, fraction float64) float64 {
	return centre * (1 + fraction*(2*r.Float64()-1))
}

// NewSubject draws the person.
func NewSubject(p Profile, r *rand.Rand) Subject {
	s := Subject{Age: math.Floor(p.Age.Draw(r)), Sex: "F"}
	if r.IntN(2) == 0 {
		s.Sex = "M"
	}
	switch {
	case p.Extent == Pediatric:
		s.Height = near(r, 82+6*s.Age, 0.03)
		s.Weight = near(r, 16.5*Square(s.Height/100), 0.06)
		s.HeartRate = near(r, 88, 0.06)
		s.Systolic, s.Diastolic = near(r, 100, 0.05), near(r, 62, 0.05)
	case s.Sex == "M":
		s.Height, s.Weight = Span{168, 190}.Draw(r), 0
	default:
		s.Height, s.Weight = Span{156, 176}.Draw(r), 0
	}
	if p.Extent != Pediatric {
		s.Weight = Span{21.5, 27.5}.Draw(r) * Square(s.Height/100)
		s.HeartRate = Span{60, 76}.Draw(r)
		s.Systolic, s.Diastolic = Span{116, 136}.Draw(r), Span{68, 82}.Draw(r)
	}
	if p.rhythm == atrialFibrillation {
		s.HeartRate = Span{74, 88}.Draw(r)
	}
	// As written in a chart: whole centimetres, tenths of a kilogram. The body
	// surface area follows from the written numbers.
	s.Height, s.Weight = math.Round(s.Height), math.Round(s.Weight*10)/10
	s.BodySurface = DuBois(s.Height, s.Weight)
	if p.Extent == Pediatric {
		s.BodySurface = Haycock(s.Height, s.Weight)
	}
	return s
}

// NewCirculation draws the heart of a subject.
func NewCirculation(p Profile, s Subject, r *rand.Rand) Circulation {
	var c Circulation
	c.AtrialPressure = p.atrialPressure
	c.drawLeftVentricle(p, s, r)
	c.drawFilling(p, s, r)
	c.drawAtria(p, s, r)
	c.drawAorta(p, s, r)
	c.drawPulmonary(p, s, r)
	c.drawRightVentricle(p, s, r)
	c.drawTricuspid(p, s, r)
	c.drawVeins(p, r)
	return c
}

func (c *Circulation) drawLeftVentricle(p Profile, s Subject, r *rand.Rand) {
	c.Stroke = p.strokeIndex.Draw(r) * s.BodySurface
	c.ejectionTime = 400 - 1.6*s.HeartRate
	c.OutflowDiameter = near(r, 1.48*math.Pow(s.BodySurface, 0.5), 0.03)
	c.OutflowIntegral = c.Stroke / CircleArea(c.OutflowDiameter)
	c.outflowVelocity = c.OutflowIntegral / 100 / (0.64 * c.ejectionTime / 1000)

	regurgitant := 0.0
	if p.mitralRegurgitation > none {
		c.drawMitralRegurgitation(p, s, r)
		regurgitant = c.mitralOrifice() * c.mitralJetIntegral
	}
	// Two-dimensional volumes read a little low against flow.
	ejected := near(r, 0.95, 0.02)*c.Stroke + regurgitant
	fraction := p.ejection.Draw(r)
	c.endDiastolic = ejected / fraction
	c.endSystolic = c.endDiastolic - ejected
	c.fourDiastolic, c.fourSystolic = c.endDiastolic*1.03, c.endSystolic*1.02
	c.twoDiastolic, c.twoSystolic = c.endDiastolic*0.97, c.endSystolic*0.98

	c.Cavity = near(r, 0.99*math.Cbrt(c.endDiastolic), 0.015)
	c.CavitySystolic = c.Cavity * math.Pow(c.endSystolic/c.endDiastolic, 0.44)
	thickness := 0.62 + 0.1*s.BodySurface
	if p.Extent == Pediatric {
		thickness = 0.42 + 0.14*s.BodySurface
	}
	c.septum = near(r, thickness*p.wall, 0.04)
	c.posterior = near(r, 0.97*thickness*p.wall, 0.04)
	c.Strain = -near(r, 33*fraction, 0.03)
	c.septalS = near(r, 8.2, 0.08)
}

func (c *Circulation) drawMitralRegurgitation(p Profile, s Subject, r *rand.Rand) {
	c.mitralJet = math.Sqrt((s.Systolic - 12) / 4)
	c.mitralJetIntegral = c.mitralJet * 100 * 0.72 * (c.ejectionTime + 90) / 1000
	c.mitralAlias = 0.38
	c.mitralRadius = 0.45
	c.mitralWidth = near(r, 0.25, 0.06)
	if p.mitralRegurgitation >= moderate {
		c.mitralRadius = near(r, 0.74, 0.03)
		c.mitralWidth = near(r, 0.5, 0.06)
	}
}

func (c *Circulation) drawFilling(p Profile, s Subject, r *rand.Rand) {
	age := math.Max(0, s.Age-20)
	c.MitralE = near(r, 0.86-0.0032*age, 0.05)
	c.mitralA = c.MitralE / near(r, 2-0.018*age, 0.05)
	c.mitralDeceleration = near(r, 165+0.7*age, 0.04)
	c.septalE = near(r, 12.2-0.085*age, 0.04)
	c.lateralE = c.septalE * near(r, 1.32, 0.04)
	c.relaxationTime = near(r, 72+0.3*age, 0.04)
	c.veinS, c.veinD = near(r, 0.48+0.002*age, 0.05), near(r, 0.5-0.0025*age, 0.05)
	if p.rhythm == atrialFibrillation {
		c.MitralE, c.mitralA = near(r, 0.82, 0.04), 0
		c.mitralDeceleration = near(r, 185, 0.04)
		c.veinS, c.veinD = near(r, 0.36, 0.05), near(r, 0.5, 0.05)
	}
}

func (c *Circulation) drawAtria(p Profile, s Subject, r *rand.Rand) {
	index := Span{22, 29}.Draw(r)
	switch {
	case p.rhythm == atrialFibrillation:
		index = Span{44, 52}.Draw(r)
	case p.mitralRegurgitation >= moderate:
		index = Span{40, 46}.Draw(r)
	case p.aorticStenosis >= severe:
		index = Span{35, 39}.Draw(r)
	}
	c.leftVolume = index * s.BodySurface
	c.leftLength = near(r, 1.27*math.Cbrt(c.leftVolume), 0.02)
	product := c.leftVolume * c.leftLength / 0.85
	c.leftFour = math.Sqrt(product * 1.04)
	c.leftTwo = product / c.leftFour
	c.leftDiameter = near(r, 0.93*math.Cbrt(c.leftVolume), 0.02)
	c.rightArea = near(r, 7.6*s.BodySurface, 0.06)
	switch {
	case p.tricuspidRegurgitation >= severe:
		c.rightArea *= 1.95
	case p.tricuspidRegurgitation >= moderate, p.tricuspidStenosis:
		c.rightArea *= 1.6
	case p.pressure.Low > 60:
		c.rightArea *= 1.5
	case p.rhythm == atrialFibrillation:
		c.rightArea *= 1.45
	}
}

func (c *Circulation) drawAorta(p Profile, s Subject, r *rand.Rand) {
	c.aorticIntegral = c.OutflowIntegral * near(r, 1.2, 0.03)
	if p.aorticStenosis >= severe {
		c.aorticIntegral = c.OutflowIntegral * CircleArea(c.OutflowDiameter) / Span{0.7, 0.82}.Draw(r)
		c.AorticVelocity = c.aorticIntegral / 100 / (0.63 * (c.ejectionTime + 35) / 1000)
		c.aorticMean = 0.62 * Gradient(c.AorticVelocity)
	} else {
		c.AorticVelocity = c.aorticIntegral / 100 / (0.64 * c.ejectionTime / 1000)
		c.aorticMean = 0.53 * Gradient(c.AorticVelocity)
	}
	c.annulus = c.OutflowDiameter + 0.08
	c.sinus = near(r, c.annulus*1.42, 0.03)
	c.junction = c.sinus * 0.87
	c.ascending = c.sinus * near(r, 0.95, 0.02)
	c.arch = c.sinus * 0.82
}

func (c *Circulation) drawPulmonary(p Profile, s Subject, r *rand.Rand) {
	systolic := p.pressure.Draw(r)
	c.Jet = math.Sqrt((systolic - c.AtrialPressure) / 4)
	mean := 0.61*systolic + 2
	c.AccelerationTime = near(r, (79-mean)/0.45, 0.03)
	if mean > 25 {
		c.AccelerationTime = near(r, (90-mean)/0.62, 0.03)
	}
	c.pulmonaryDiameter = c.OutflowDiameter * near(r, 1.1, 0.02)
	c.pulmonaryIntegral = c.Stroke / CircleArea(c.pulmonaryDiameter)
	c.RightEjection = c.ejectionTime * 1.05
	c.pulmonaryVelocity = c.pulmonaryIntegral / 100 / (0.62 * c.RightEjection / 1000)
	diastolic := mean - 0.33*(systolic-mean)
	c.pulmonaryEnd = math.Sqrt(math.Max(2.2, diastolic-c.AtrialPressure) / 4)
	c.pulmonaryEarly = math.Sqrt(math.Max(5, mean-c.AtrialPressure) / 4)
	c.pulmonaryTrunk = near(r, c.pulmonaryDiameter*1.0, 0.03)
	if mean > 40 {
		c.pulmonaryTrunk *= 1.28
	}
}

func (c *Circulation) drawRightVentricle(p Profile, s Subject, r *rand.Rand) {
	load, dilated := 0.0, 1.0 // load 0 normal, 1 failing
	switch {
	case p.pressure.Low > 60:
		load, dilated = 0.8, 1.3
	case p.tricuspidRegurgitation >= severe:
		load, dilated = 0.45, 1.38
	case p.tricuspidRegurgitation >= moderate:
		load, dilated = 0.15, 1.15
	}
	size := math.Sqrt(s.BodySurface / 1.85)
	c.basal = near(r, 3.4*size*dilated, 0.03)
	c.middle = c.basal * 0.78
	c.RightDiastolic = near(r, 17.5*size*size*dilated*dilated, 0.03)
	c.RightSystolic = c.RightDiastolic * (1 - near(r, 0.45-0.16*load, 0.03))
	c.Excursion = near(r, 2.35-0.75*load, 0.04)
	c.RightS = c.Excursion * 10 / near(r, 1.76, 0.02)
	if p.Extent == Pediatric {
		c.Excursion = near(r, 1.95, 0.03)
		c.RightS = near(r, 12, 0.03)
	}
	c.wall = near(r, 0.36+0.35*load, 0.05)
	c.closureToOpening = c.RightEjection * (1 + near(r, 0.27+0.28*load, 0.05))
}

func (c *Circulation) drawTricuspid(p Profile, s Subject, r *rand.Rand) {
	c.TricuspidE = near(r, 0.62*c.MitralE+0.05, 0.03)
	c.TricuspidA = c.TricuspidE / near(r, 1.38, 0.04)
	c.inspirationRise = near(r, 0.17, 0.15)
	c.tricuspidDeceleration = near(r, 185, 0.04)
	area := Span{5.6, 6.4}.Draw(r) * s.BodySurface / 1.85
	c.tricuspidMean = 0.42 * Gradient(c.TricuspidE)
	switch {
	case p.tricuspidStenosis:
		c.TricuspidE = near(r, 1.6, 0.03)
		c.TricuspidA = c.TricuspidE / 1.12
		c.tricuspidDeceleration = near(r, 760, 0.03)
		area = Span{0.84, 0.92}.Draw(r)
		c.tricuspidMean = 0.6 * Gradient(c.TricuspidE)
		c.inspirationRise = near(r, 0.14, 0.1)
	case p.tricuspidRegurgitation >= severe:
		c.TricuspidE = near(r, 1.08, 0.03)
		c.TricuspidA = c.TricuspidE / 1.7
		c.tricuspidDeceleration = near(r, 150, 0.03)
		c.tricuspidMean = 0.4 * Gradient(c.TricuspidE)
	}
	c.TricuspidHalfTime = 0.29 * c.tricuspidDeceleration
	c.tricuspidAnnularE = near(r, 13.5, 0.05)
	c.tricuspidIntegral = c.Stroke / area
	c.tricuspidAnnulus = math.Min(c.basal-0.15, near(r, 3.15*math.Sqrt(s.BodySurface/1.85), 0.03))

	duration := (c.ejectionTime + 110) / 1000
	c.jetIntegral = c.Jet * 100 * 0.65 * duration
	c.jetAlias = 0.3
	switch p.tricuspidRegurgitation {
	case mild:
		c.jetRadius, c.jetWidth = near(r, 0.4, 0.03), near(r, 0.22, 0.06)
	case moderate:
		c.jetRadius, c.jetWidth = near(r, 0.68, 0.02), near(r, 0.5, 0.05)
		c.tricuspidAnnulus = c.basal - 0.12
	case severe:
		c.jetRadius, c.jetWidth = near(r, 0.9, 0.015), near(r, 0.95, 0.05)
		c.tricuspidAnnulus = c.basal - 0.15
	}
}

func (c *Circulation) drawVeins(p Profile, r *rand.Rand) {
	switch p.atrialPressure {
	case 3:
		c.cavaExpiration = near(r, 1.6, 0.08)
		c.cavaInspiration = c.cavaExpiration * Span{0.25, 0.38}.Draw(r)
		c.hepaticS, c.hepaticD = near(r, 0.5, 0.06), near(r, 0.32, 0.06)
	case 8:
		c.cavaExpiration = near(r, 2.35, 0.03)
		c.cavaInspiration = c.cavaExpiration * Span{0.3, 0.4}.Draw(r)
		c.hepaticS, c.hepaticD = near(r, 0.36, 0.05), near(r, 0.38, 0.05)
	default:
		c.cavaExpiration = near(r, 2.65, 0.04)
		c.cavaInspiration = c.cavaExpiration * Span{0.68, 0.78}.Draw(r)
		c.hepaticS, c.hepaticD = near(r, 0.22, 0.05), near(r, 0.45, 0.05)
	}
	if p.tricuspidRegurgitation >= severe {
		c.hepaticS = -near(r, 0.3, 0.05) // systolic reversal
	}
}

// tricuspidOrifice is the effective regurgitant orifice area by proximal
// isovelocity surface area, cm2.
func (c Circulation) tricuspidOrifice() float64 { return orifice(c.jetRadius, c.jetAlias, c.Jet) }

func (c Circulation) mitralOrifice() float64 {
	return orifice(c.mitralRadius, c.mitralAlias, c.mitralJet)
}

// The equations of the model are written out here rather than taken from the
// program's own formulas, so that the demo cannot agree with a wrong formula.

// Square is x times x.
func Square(x float64) float64 { return x * x }

// CircleArea is the area of a circle.
func CircleArea(diameter float64) float64 { return math.Pi / 4 * Square(diameter) }

// Gradient is the simplified Bernoulli equation (Hatle 1978).
func Gradient(velocity float64) float64 { return 4 * Square(velocity) }

// orifice is 2 pi r^2 Va / V (Zoghbi 2017); the velocities share a unit.
func orifice(radius, alias, velocity float64) float64 {
	if velocity == 0 {
		return 0
	}
	return 2 * math.Pi * Square(radius) * alias / velocity
}

// DuBois is the body surface area of Du Bois and Du Bois (1916).
func DuBois(height, weight float64) float64 {
	return 0.007184 * math.Pow(weight, 0.425) * math.Pow(height, 0.725)
}

// Haycock is the body surface area of Haycock et al. (1978), for children.
func Haycock(height, weight float64) float64 {
	return 0.024265 * math.Pow(weight, 0.5378) * math.Pow(height, 0.3964)
}

// ventricularMass is the cube formula of Devereux et al. (1986).
func ventricularMass(septum, cavity, posterior float64) float64 {
	outer := septum + cavity + posterior
	return 0.8*1.04*(outer*outer*outer-cavity*cavity*cavity) + 0.6
}
