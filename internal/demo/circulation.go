package demo

import (
	"math"
	"math/rand/v2"
)

// subject is an invented person.
type subject struct {
	sex                 string  // M or F
	age                 float64 // years
	height, weight      float64 // cm, kg
	bodySurface         float64 // m2
	heartRate           float64 // 1/min
	systolic, diastolic float64 // arterial pressure, mmHg
}

// circulation is one heart, in unrounded numbers: lengths cm, areas cm2,
// volumes mL, blood velocities m/s, tissue velocities cm/s, pressures mmHg,
// times ms, fractions 1. Every derived field obeys its equation exactly.
type circulation struct {
	// left ventricle
	stroke, ejectionTime                              float64 // forward flow
	outflowDiameter, outflowIntegral, outflowVelocity float64
	endDiastolic, endSystolic                         float64 // biplane
	fourDiastolic, fourSystolic                       float64 // single plane, four chambers
	twoDiastolic, twoSystolic                         float64 // single plane, two chambers
	septum, cavity, posterior, cavitySystolic         float64
	strain                                            float64 // %

	// mitral inflow and annulus
	mitralE, mitralA, mitralDeceleration       float64
	septalE, lateralE, septalS, relaxationTime float64
	veinS, veinD                               float64 // pulmonary vein

	// atria
	leftVolume, leftLength, leftFour, leftTwo, leftDiameter float64
	rightArea                                               float64

	// aortic valve and aorta
	aorticIntegral, aorticVelocity, aorticMean float64
	annulus, sinus, junction, ascending, arch  float64

	// right ventricle
	basal, middle, rightDiastolic, rightSystolic float64
	excursion, rightS, wall                      float64 // excursion in cm
	rightEjection, closureToOpening              float64
	tricuspidAnnularE                            float64

	// tricuspid valve
	tricuspidE, tricuspidA, tricuspidDeceleration float64 // end expiration
	inspirationRise                               float64 // of E and A, fraction
	tricuspidIntegral, tricuspidMean              float64
	tricuspidAnnulus                              float64
	tricuspidHalfTime                             float64
	jet                                           float64 // highest velocity of regurgitation
	jetIntegral, jetRadius, jetAlias, jetWidth    float64 // alias m/s

	// pressures and veins
	atrialPressure                       float64
	cavaExpiration, cavaInspiration      float64
	hepaticS, hepaticD                   float64
	accelerationTime                     float64
	pulmonaryDiameter, pulmonaryIntegral float64 // outflow tract at the valve
	pulmonaryVelocity                    float64
	pulmonaryTrunk                       float64
	pulmonaryEnd, pulmonaryEarly         float64 // regurgitation velocities

	// mitral regurgitation
	mitralJet, mitralJetIntegral, mitralRadius, mitralAlias, mitralWidth float64
}

// draw returns an even draw from the span.
func (s span) draw(r *rand.Rand) float64 { return s.low + r.Float64()*(s.high-s.low) }

// near returns a value within the fraction of the centre.
func near(r *rand.Rand, centre, fraction float64) float64 {
	return centre * (1 + fraction*(2*r.Float64()-1))
}

func newSubject(p profile, r *rand.Rand) subject {
	s := subject{age: math.Floor(p.age.draw(r)), sex: "F"}
	if r.IntN(2) == 0 {
		s.sex = "M"
	}
	switch {
	case p.extent == pediatric:
		s.height = near(r, 82+6*s.age, 0.03)
		s.weight = near(r, 16.5*square(s.height/100), 0.06)
		s.heartRate = near(r, 88, 0.06)
		s.systolic, s.diastolic = near(r, 100, 0.05), near(r, 62, 0.05)
	case s.sex == "M":
		s.height, s.weight = span{168, 190}.draw(r), 0
	default:
		s.height, s.weight = span{156, 176}.draw(r), 0
	}
	if p.extent != pediatric {
		s.weight = span{21.5, 27.5}.draw(r) * square(s.height/100)
		s.heartRate = span{60, 76}.draw(r)
		s.systolic, s.diastolic = span{116, 136}.draw(r), span{68, 82}.draw(r)
	}
	if p.rhythm == atrialFibrillation {
		s.heartRate = span{74, 88}.draw(r)
	}
	// As written in a chart: whole centimetres, tenths of a kilogram. The body
	// surface area follows from the written numbers.
	s.height, s.weight = math.Round(s.height), math.Round(s.weight*10)/10
	s.bodySurface = duBois(s.height, s.weight)
	if p.extent == pediatric {
		s.bodySurface = haycock(s.height, s.weight)
	}
	return s
}

// newCirculation draws the heart of a subject.
func newCirculation(p profile, s subject, r *rand.Rand) circulation {
	var c circulation
	c.atrialPressure = p.atrialPressure
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

func (c *circulation) drawLeftVentricle(p profile, s subject, r *rand.Rand) {
	c.stroke = p.strokeIndex.draw(r) * s.bodySurface
	c.ejectionTime = 400 - 1.6*s.heartRate
	c.outflowDiameter = near(r, 1.48*math.Pow(s.bodySurface, 0.5), 0.03)
	c.outflowIntegral = c.stroke / circleArea(c.outflowDiameter)
	c.outflowVelocity = c.outflowIntegral / 100 / (0.64 * c.ejectionTime / 1000)

	regurgitant := 0.0
	if p.mitralRegurgitation > none {
		c.drawMitralRegurgitation(p, s, r)
		regurgitant = c.mitralOrifice() * c.mitralJetIntegral
	}
	// Two-dimensional volumes read a little low against flow.
	ejected := near(r, 0.95, 0.02)*c.stroke + regurgitant
	fraction := p.ejection.draw(r)
	c.endDiastolic = ejected / fraction
	c.endSystolic = c.endDiastolic - ejected
	c.fourDiastolic, c.fourSystolic = c.endDiastolic*1.03, c.endSystolic*1.02
	c.twoDiastolic, c.twoSystolic = c.endDiastolic*0.97, c.endSystolic*0.98

	c.cavity = near(r, 0.99*math.Cbrt(c.endDiastolic), 0.015)
	c.cavitySystolic = c.cavity * math.Pow(c.endSystolic/c.endDiastolic, 0.44)
	thickness := 0.62 + 0.1*s.bodySurface
	if p.extent == pediatric {
		thickness = 0.42 + 0.14*s.bodySurface
	}
	c.septum = near(r, thickness*p.wall, 0.04)
	c.posterior = near(r, 0.97*thickness*p.wall, 0.04)
	c.strain = -near(r, 33*fraction, 0.03)
	c.septalS = near(r, 8.2, 0.08)
}

func (c *circulation) drawMitralRegurgitation(p profile, s subject, r *rand.Rand) {
	c.mitralJet = math.Sqrt((s.systolic - 12) / 4)
	c.mitralJetIntegral = c.mitralJet * 100 * 0.72 * (c.ejectionTime + 90) / 1000
	c.mitralAlias = 0.38
	c.mitralRadius = 0.45
	c.mitralWidth = near(r, 0.25, 0.06)
	if p.mitralRegurgitation >= moderate {
		c.mitralRadius = near(r, 0.74, 0.03)
		c.mitralWidth = near(r, 0.5, 0.06)
	}
}

func (c *circulation) drawFilling(p profile, s subject, r *rand.Rand) {
	age := math.Max(0, s.age-20)
	c.mitralE = near(r, 0.86-0.0032*age, 0.05)
	c.mitralA = c.mitralE / near(r, 2-0.018*age, 0.05)
	c.mitralDeceleration = near(r, 165+0.7*age, 0.04)
	c.septalE = near(r, 12.2-0.085*age, 0.04)
	c.lateralE = c.septalE * near(r, 1.32, 0.04)
	c.relaxationTime = near(r, 72+0.3*age, 0.04)
	c.veinS, c.veinD = near(r, 0.48+0.002*age, 0.05), near(r, 0.5-0.0025*age, 0.05)
	if p.rhythm == atrialFibrillation {
		c.mitralE, c.mitralA = near(r, 0.82, 0.04), 0
		c.mitralDeceleration = near(r, 185, 0.04)
		c.veinS, c.veinD = near(r, 0.36, 0.05), near(r, 0.5, 0.05)
	}
}

func (c *circulation) drawAtria(p profile, s subject, r *rand.Rand) {
	index := span{22, 29}.draw(r)
	switch {
	case p.rhythm == atrialFibrillation:
		index = span{44, 52}.draw(r)
	case p.mitralRegurgitation >= moderate:
		index = span{40, 46}.draw(r)
	case p.aorticStenosis >= severe:
		index = span{35, 39}.draw(r)
	}
	c.leftVolume = index * s.bodySurface
	c.leftLength = near(r, 1.27*math.Cbrt(c.leftVolume), 0.02)
	product := c.leftVolume * c.leftLength / 0.85
	c.leftFour = math.Sqrt(product * 1.04)
	c.leftTwo = product / c.leftFour
	c.leftDiameter = near(r, 0.93*math.Cbrt(c.leftVolume), 0.02)
	c.rightArea = near(r, 7.6*s.bodySurface, 0.06)
	switch {
	case p.tricuspidRegurgitation >= severe:
		c.rightArea *= 1.95
	case p.tricuspidRegurgitation >= moderate, p.tricuspidStenosis:
		c.rightArea *= 1.6
	case p.pressure.low > 60:
		c.rightArea *= 1.5
	case p.rhythm == atrialFibrillation:
		c.rightArea *= 1.45
	}
}

func (c *circulation) drawAorta(p profile, s subject, r *rand.Rand) {
	c.aorticIntegral = c.outflowIntegral * near(r, 1.2, 0.03)
	if p.aorticStenosis >= severe {
		c.aorticIntegral = c.outflowIntegral * circleArea(c.outflowDiameter) / span{0.7, 0.82}.draw(r)
		c.aorticVelocity = c.aorticIntegral / 100 / (0.63 * (c.ejectionTime + 35) / 1000)
		c.aorticMean = 0.62 * gradient(c.aorticVelocity)
	} else {
		c.aorticVelocity = c.aorticIntegral / 100 / (0.64 * c.ejectionTime / 1000)
		c.aorticMean = 0.53 * gradient(c.aorticVelocity)
	}
	c.annulus = c.outflowDiameter + 0.08
	c.sinus = near(r, c.annulus*1.42, 0.03)
	c.junction = c.sinus * 0.87
	c.ascending = c.sinus * near(r, 0.95, 0.02)
	c.arch = c.sinus * 0.82
}

func (c *circulation) drawPulmonary(p profile, s subject, r *rand.Rand) {
	systolic := p.pressure.draw(r)
	c.jet = math.Sqrt((systolic - c.atrialPressure) / 4)
	mean := 0.61*systolic + 2
	c.accelerationTime = near(r, (79-mean)/0.45, 0.03)
	if mean > 25 {
		c.accelerationTime = near(r, (90-mean)/0.62, 0.03)
	}
	c.pulmonaryDiameter = c.outflowDiameter * near(r, 1.1, 0.02)
	c.pulmonaryIntegral = c.stroke / circleArea(c.pulmonaryDiameter)
	c.rightEjection = c.ejectionTime * 1.05
	c.pulmonaryVelocity = c.pulmonaryIntegral / 100 / (0.62 * c.rightEjection / 1000)
	diastolic := mean - 0.33*(systolic-mean)
	c.pulmonaryEnd = math.Sqrt(math.Max(2.2, diastolic-c.atrialPressure) / 4)
	c.pulmonaryEarly = math.Sqrt(math.Max(5, mean-c.atrialPressure) / 4)
	c.pulmonaryTrunk = near(r, c.pulmonaryDiameter*1.0, 0.03)
	if mean > 40 {
		c.pulmonaryTrunk *= 1.28
	}
}

func (c *circulation) drawRightVentricle(p profile, s subject, r *rand.Rand) {
	load, dilated := 0.0, 1.0 // load 0 normal, 1 failing
	switch {
	case p.pressure.low > 60:
		load, dilated = 0.8, 1.3
	case p.tricuspidRegurgitation >= severe:
		load, dilated = 0.45, 1.38
	case p.tricuspidRegurgitation >= moderate:
		load, dilated = 0.15, 1.15
	}
	size := math.Sqrt(s.bodySurface / 1.85)
	c.basal = near(r, 3.4*size*dilated, 0.03)
	c.middle = c.basal * 0.78
	c.rightDiastolic = near(r, 17.5*size*size*dilated*dilated, 0.03)
	c.rightSystolic = c.rightDiastolic * (1 - near(r, 0.45-0.16*load, 0.03))
	c.excursion = near(r, 2.35-0.75*load, 0.04)
	c.rightS = c.excursion * 10 / near(r, 1.76, 0.02)
	if p.extent == pediatric {
		c.excursion = near(r, 1.95, 0.03)
		c.rightS = near(r, 12, 0.03)
	}
	c.wall = near(r, 0.36+0.35*load, 0.05)
	c.closureToOpening = c.rightEjection * (1 + near(r, 0.27+0.28*load, 0.05))
}

func (c *circulation) drawTricuspid(p profile, s subject, r *rand.Rand) {
	c.tricuspidE = near(r, 0.62*c.mitralE+0.05, 0.03)
	c.tricuspidA = c.tricuspidE / near(r, 1.38, 0.04)
	c.inspirationRise = near(r, 0.17, 0.15)
	c.tricuspidDeceleration = near(r, 185, 0.04)
	area := span{5.6, 6.4}.draw(r) * s.bodySurface / 1.85
	c.tricuspidMean = 0.42 * gradient(c.tricuspidE)
	switch {
	case p.tricuspidStenosis:
		c.tricuspidE = near(r, 1.6, 0.03)
		c.tricuspidA = c.tricuspidE / 1.12
		c.tricuspidDeceleration = near(r, 760, 0.03)
		area = span{0.84, 0.92}.draw(r)
		c.tricuspidMean = 0.6 * gradient(c.tricuspidE)
		c.inspirationRise = near(r, 0.14, 0.1)
	case p.tricuspidRegurgitation >= severe:
		c.tricuspidE = near(r, 1.08, 0.03)
		c.tricuspidA = c.tricuspidE / 1.7
		c.tricuspidDeceleration = near(r, 150, 0.03)
		c.tricuspidMean = 0.4 * gradient(c.tricuspidE)
	}
	c.tricuspidHalfTime = 0.29 * c.tricuspidDeceleration
	c.tricuspidAnnularE = near(r, 13.5, 0.05)
	c.tricuspidIntegral = c.stroke / area
	c.tricuspidAnnulus = math.Min(c.basal-0.15, near(r, 3.15*math.Sqrt(s.bodySurface/1.85), 0.03))

	duration := (c.ejectionTime + 110) / 1000
	c.jetIntegral = c.jet * 100 * 0.65 * duration
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

func (c *circulation) drawVeins(p profile, r *rand.Rand) {
	switch p.atrialPressure {
	case 3:
		c.cavaExpiration = near(r, 1.6, 0.08)
		c.cavaInspiration = c.cavaExpiration * span{0.25, 0.38}.draw(r)
		c.hepaticS, c.hepaticD = near(r, 0.5, 0.06), near(r, 0.32, 0.06)
	case 8:
		c.cavaExpiration = near(r, 2.35, 0.03)
		c.cavaInspiration = c.cavaExpiration * span{0.3, 0.4}.draw(r)
		c.hepaticS, c.hepaticD = near(r, 0.36, 0.05), near(r, 0.38, 0.05)
	default:
		c.cavaExpiration = near(r, 2.65, 0.04)
		c.cavaInspiration = c.cavaExpiration * span{0.68, 0.78}.draw(r)
		c.hepaticS, c.hepaticD = near(r, 0.22, 0.05), near(r, 0.45, 0.05)
	}
	if p.tricuspidRegurgitation >= severe {
		c.hepaticS = -near(r, 0.3, 0.05) // systolic reversal
	}
}

// tricuspidOrifice is the effective regurgitant orifice area by proximal
// isovelocity surface area, cm2.
func (c circulation) tricuspidOrifice() float64 { return orifice(c.jetRadius, c.jetAlias, c.jet) }

func (c circulation) mitralOrifice() float64 {
	return orifice(c.mitralRadius, c.mitralAlias, c.mitralJet)
}

// The equations of the model are written out here rather than taken from the
// program's own formulas, so that the demo cannot agree with a wrong formula.

func square(x float64) float64 { return x * x }

func circleArea(diameter float64) float64 { return math.Pi / 4 * square(diameter) }

// gradient is the simplified Bernoulli equation (Hatle 1978).
func gradient(velocity float64) float64 { return 4 * square(velocity) }

// orifice is 2 pi r^2 Va / V (Zoghbi 2017); the velocities share a unit.
func orifice(radius, alias, velocity float64) float64 {
	if velocity == 0 {
		return 0
	}
	return 2 * math.Pi * square(radius) * alias / velocity
}

// duBois is the body surface area of Du Bois and Du Bois (1916).
func duBois(height, weight float64) float64 {
	return 0.007184 * math.Pow(weight, 0.425) * math.Pow(height, 0.725)
}

// haycock is the body surface area of Haycock et al. (1978), for children.
func haycock(height, weight float64) float64 {
	return 0.024265 * math.Pow(weight, 0.5378) * math.Pow(height, 0.3964)
}

// ventricularMass is the cube formula of Devereux et al. (1986).
func ventricularMass(septum, cavity, posterior float64) float64 {
	outer := septum + cavity + posterior
	return 0.8*1.04*(outer*outer*outer-cavity*cavity*cavity) + 0.6
}
