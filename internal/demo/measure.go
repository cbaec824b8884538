package demo

import "math/rand/v2"

// measure takes the whole study of a circulation, as far as the profile goes.
func measure(p profile, s subject, heart circulation, random *rand.Rand) *record {
	t := taker{&record{profile: p, subject: s, heart: heart}, random}
	switch p.extent {
	case pediatric:
		t.takeChild()
	case limited:
		t.takeLimited()
	default:
		t.takeLeftVentricle()
		t.takeOutflow()
		t.takeDiastole()
		t.takeLeftAtrium()
		t.takeAorticValve()
		t.takeMitralRegurgitation()
		t.takeRightVentricle()
		t.takePulmonary()
		t.takeTricuspidInflow()
		t.takeTricuspidJet()
		t.takeVeins()
		t.sayFindings()
	}
	return t.record
}

func (t taker) takeLeftVentricle() {
	c, area := t.heart, t.subject.bodySurface
	t.take("interventricular-septum-thickness-diastole", c.septum)
	t.beats("left-ventricular-internal-diameter-diastole", c.cavity)
	t.take("left-ventricular-posterior-wall-thickness-diastole", c.posterior)
	t.beats("left-ventricular-internal-diameter-systole", c.cavitySystolic)
	t.derive("left-ventricular-fractional-shortening", 100*(c.cavity-c.cavitySystolic)/c.cavity)
	muscle := ventricularMass(c.septum, c.cavity, c.posterior)
	t.derive("left-ventricular-mass", muscle)
	t.derive("left-ventricular-mass-index", muscle/area)
	t.take("left-ventricular-end-diastolic-volume-four-chamber", c.fourDiastolic)
	t.take("left-ventricular-end-systolic-volume-four-chamber", c.fourSystolic)
	t.take("left-ventricular-end-diastolic-volume-two-chamber", c.twoDiastolic)
	t.take("left-ventricular-end-systolic-volume-two-chamber", c.twoSystolic)
	t.take("left-ventricular-end-diastolic-volume-biplane", c.endDiastolic)
	t.take("left-ventricular-end-systolic-volume-biplane", c.endSystolic)
	t.derive("left-ventricular-ejection-fraction-biplane", 100*(c.endDiastolic-c.endSystolic)/c.endDiastolic)
	t.derive("left-ventricular-end-diastolic-volume-index", c.endDiastolic/area)
	t.derive("left-ventricular-end-systolic-volume-index", c.endSystolic/area)
	t.take("left-ventricular-global-longitudinal-strain-peak-mean", c.strain)
}

func (t taker) takeOutflow() {
	c, area := t.heart, t.subject.bodySurface
	t.take("lvot-diameter", c.outflowDiameter)
	t.take("lvot-peak-velocity", c.outflowVelocity)
	t.beats("lvot-velocity-time-integral", c.outflowIntegral)
	t.derive("stroke-volume-lvot", c.stroke)
	t.derive("stroke-volume-index-lvot", c.stroke/area)
	t.derive("cardiac-output-lvot", c.stroke*t.subject.heartRate/1000)
	t.derive("cardiac-index-lvot", c.stroke*t.subject.heartRate/1000/area)
}

func (t taker) takeDiastole() {
	c := t.heart
	t.beats("mitral-valve-e-wave-velocity", c.mitralE)
	if t.profile.rhythm == sinusRhythm {
		t.beats("mitral-valve-a-wave-velocity", c.mitralA)
		t.derive("mitral-valve-e-to-a-ratio", c.mitralE/c.mitralA)
	}
	t.take("mitral-valve-deceleration-time", c.mitralDeceleration)
	t.beats("mitral-annular-velocity-e-prime-septal", c.septalE)
	t.beats("mitral-annular-velocity-e-prime-lateral", c.lateralE)
	t.take("mitral-annular-velocity-s-prime-septal", c.septalS)
	t.derive("mitral-e-to-e-prime-ratio-septal", c.mitralE*100/c.septalE)
	t.derive("mitral-e-to-e-prime-ratio-lateral", c.mitralE*100/c.lateralE)
	t.take("left-ventricular-isovolumic-relaxation-time", c.relaxationTime)
	t.take("pulmonary-vein-systolic-velocity", c.veinS)
	t.take("pulmonary-vein-diastolic-velocity", c.veinD)
}

func (t taker) takeLeftAtrium() {
	c := t.heart
	t.take("left-atrial-anteroposterior-diameter", c.leftDiameter)
	t.take("left-atrial-area-four-chamber", c.leftFour)
	t.take("left-atrial-area-two-chamber", c.leftTwo)
	t.take("left-atrial-length-four-chamber", c.leftLength)
	t.derive("left-atrial-volume-biplane-area-length", c.leftVolume)
	t.derive("left-atrial-volume-index-biplane-area-length", c.leftVolume/t.subject.bodySurface)
}

func (t taker) takeAorticValve() {
	c := t.heart
	t.take("aortic-valve-peak-velocity", c.aorticVelocity)
	t.take("aortic-valve-velocity-time-integral", c.aorticIntegral)
	t.derive("aortic-valve-peak-gradient", gradient(c.aorticVelocity))
	t.derive("aortic-valve-mean-gradient", c.aorticMean)
	valve := c.stroke / c.aorticIntegral
	t.derive("aortic-valve-area-continuity", valve)
	t.derive("aortic-valve-area-index", valve/t.subject.bodySurface)
	t.take("aortic-annulus-diameter", c.annulus)
	t.take("aortic-root-diameter", c.sinus)
	t.take("sinotubular-junction-diameter", c.junction)
	t.take("ascending-aorta-diameter", c.ascending)
	if !t.profile.poorWindows {
		t.take("aortic-arch-diameter", c.arch)
	}
}

func (t taker) takeMitralRegurgitation() {
	c := t.heart
	if t.profile.mitralRegurgitation < moderate {
		return
	}
	t.take("mitral-regurgitation-peak-velocity", c.mitralJet)
	t.take("mitral-regurgitation-velocity-time-integral", c.mitralJetIntegral)
	t.take("mitral-regurgitation-vena-contracta-width", c.mitralWidth)
	t.take("mitral-regurgitation-pisa-radius", c.mitralRadius)
	t.take("mitral-regurgitation-pisa-velocity", c.mitralAlias)
	t.derive("mitral-regurgitation-effective-orifice-area", c.mitralOrifice())
	t.derive("mitral-regurgitation-volume", c.mitralOrifice()*c.mitralJetIntegral)
}

func (t taker) takeRightVentricle() {
	c := t.heart
	t.take("right-ventricular-basal-diameter", c.basal)
	t.take("right-ventricular-mid-diameter", c.middle)
	t.take("right-ventricular-area-diastole", c.rightDiastolic)
	t.take("right-ventricular-area-systole", c.rightSystolic)
	t.derive("right-ventricular-fractional-area-change", 100*(c.rightDiastolic-c.rightSystolic)/c.rightDiastolic)
	if !t.profile.poorWindows {
		t.take("right-ventricular-wall-thickness-diastole", c.wall)
	}
	t.beats("tricuspid-annular-plane-systolic-excursion", c.excursion)
	t.beats("tricuspid-annular-velocity-s-prime", c.rightS)
	t.take("tricuspid-valve-closure-to-opening-time", c.closureToOpening)
	t.take("right-ventricular-ejection-time", c.rightEjection)
	t.derive("right-ventricular-performance-index", (c.closureToOpening-c.rightEjection)/c.rightEjection)
	t.take("right-atrial-area", c.rightArea)
}

func (t taker) takePulmonary() {
	c := t.heart
	t.take("rvot-diameter-distal", c.pulmonaryDiameter)
	t.take("rvot-peak-velocity", c.pulmonaryVelocity)
	t.beats("rvot-velocity-time-integral", c.pulmonaryIntegral)
	t.beats("rvot-acceleration-time", c.accelerationTime)
	t.take("pulmonary-valve-peak-velocity", c.pulmonaryVelocity*1.06)
	t.derive("pulmonary-valve-peak-gradient", gradient(c.pulmonaryVelocity*1.06))
	t.take("main-pulmonary-artery-diameter", c.pulmonaryTrunk)
	if t.profile.pressure.low > 30 {
		t.take("pulmonary-regurgitation-peak-velocity", c.pulmonaryEarly)
		t.take("pulmonary-regurgitation-end-diastolic-velocity", c.pulmonaryEnd)
	}
}

// takeTricuspidInflow takes the inflow in both phases of breathing; in atrial
// fibrillation, over five beats instead, and without the atrial wave.
func (t taker) takeTricuspidInflow() {
	c := t.heart
	if t.profile.rhythm == atrialFibrillation {
		t.beats("tricuspid-valve-e-wave-velocity", c.tricuspidE)
	} else {
		rise := 1 + c.inspirationRise
		t.take("tricuspid-valve-e-wave-velocity", c.tricuspidE*rise).respiration = inspiration
		t.take("tricuspid-valve-a-wave-velocity", c.tricuspidA*rise).respiration = inspiration
		t.take("tricuspid-valve-e-wave-velocity", c.tricuspidE).respiration = expiration
		t.take("tricuspid-valve-a-wave-velocity", c.tricuspidA).respiration = expiration
		t.derive("tricuspid-valve-e-to-a-ratio", c.tricuspidE/c.tricuspidA).respiration = expiration
	}
	t.take("tricuspid-valve-deceleration-time", c.tricuspidDeceleration)
	t.take("tricuspid-annulus-diameter-diastole", c.tricuspidAnnulus)
	t.take("tricuspid-annular-velocity-e-prime", c.tricuspidAnnularE)
	if t.profile.tricuspidStenosis {
		// A gradient over breathing needs more than the three beats of the rest.
		mean := t.take("tricuspid-valve-mean-gradient", c.tricuspidMean)
		mean.values, mean.mean = scatter(t.random, c.tricuspidMean, 5, 0.04), true
	} else {
		t.take("tricuspid-valve-mean-gradient", c.tricuspidMean)
	}
	t.take("tricuspid-valve-inflow-velocity-time-integral", c.tricuspidIntegral)
	t.derive("tricuspid-valve-pressure-half-time", c.tricuspidHalfTime)
	if t.profile.tricuspidStenosis {
		t.derive("tricuspid-valve-area-continuity", c.stroke/c.tricuspidIntegral)
		t.derive("tricuspid-valve-area-pressure-half-time", 190/c.tricuspidHalfTime)
	}
}

const jetVelocity = "tricuspid-regurgitation-peak-velocity"

// takeTricuspidJet takes the jet from three views; one of them sees it best.
func (t taker) takeTricuspidJet() {
	c := t.heart
	if t.profile.noJet {
		return
	}
	views := []term{apicalFour, rvInflow, shortAxisBase}
	best := t.random.IntN(len(views))
	for i, view := range views {
		velocity := c.jet
		if i != best {
			velocity *= span{0.945, 0.985}.draw(t.random)
		}
		jet := t.take(jetVelocity, velocity)
		if t.profile.rhythm == atrialFibrillation {
			// Two beats from each view, the higher one last.
			jet.values = []float64{velocity * 0.96, velocity}
		}
		jet.view, jet.chosen = view, i == best
	}
	t.derive("tricuspid-regurgitation-peak-gradient", gradient(c.jet))
	if t.profile.tricuspidRegurgitation < moderate {
		return
	}
	t.take("tricuspid-regurgitation-velocity-time-integral", c.jetIntegral)
	t.take("tricuspid-regurgitation-vena-contracta-width", c.jetWidth)
	t.take("tricuspid-regurgitation-pisa-radius", c.jetRadius)
	t.take("tricuspid-regurgitation-pisa-velocity", c.jetAlias)
	t.derive("tricuspid-regurgitation-effective-orifice-area", c.tricuspidOrifice())
	t.derive("tricuspid-regurgitation-volume", c.tricuspidOrifice()*c.jetIntegral)
}

func (t taker) takeVeins() {
	c := t.heart
	if t.profile.poorWindows {
		return
	}
	t.take("inferior-vena-cava-diameter-expiration", c.cavaExpiration).respiration = expiration
	t.take("inferior-vena-cava-diameter-inspiration", c.cavaInspiration).respiration = inspiration
	t.derive("inferior-vena-cava-collapse", 100*(c.cavaExpiration-c.cavaInspiration)/c.cavaExpiration)
	t.take("hepatic-vein-systolic-velocity", c.hepaticS).respiration = expiration
	t.take("hepatic-vein-diastolic-velocity", c.hepaticD).respiration = expiration
	t.take("right-atrial-pressure", c.atrialPressure).derivation = estimated
	if !t.profile.noJet {
		t.derive("right-ventricular-systolic-pressure", gradient(c.jet)+c.atrialPressure)
	}
}

// takeLimited takes what a follow-up of a pericardial effusion needs.
func (t taker) takeLimited() {
	c := t.heart
	t.take("left-ventricular-internal-diameter-diastole", c.cavity)
	t.take("left-ventricular-internal-diameter-systole", c.cavitySystolic)
	t.take("mitral-valve-e-wave-velocity", c.mitralE*0.95).respiration = inspiration
	t.take("mitral-valve-e-wave-velocity", c.mitralE).respiration = expiration
	rise := 1 + c.inspirationRise
	t.take("tricuspid-valve-e-wave-velocity", c.tricuspidE*rise).respiration = inspiration
	t.take("tricuspid-valve-e-wave-velocity", c.tricuspidE).respiration = expiration
	t.take("inferior-vena-cava-diameter-expiration", c.cavaExpiration).respiration = expiration
	t.take("inferior-vena-cava-diameter-inspiration", c.cavaInspiration).respiration = inspiration
	t.derive("inferior-vena-cava-collapse", 100*(c.cavaExpiration-c.cavaInspiration)/c.cavaExpiration)
	t.say("", "protocol", "Limited study for pericardial effusion follow-up.")
	t.sayRhythm()
	t.say("", "pericardium", "Small pericardial effusion, unchanged. No chamber collapse.")
	t.say("", "breathing", "Respiratory trace shown; sample volume at the leaflet tips.")
}

// takeChild takes the short list of a child's study.
func (t taker) takeChild() {
	c := t.heart
	t.take("interventricular-septum-thickness-diastole", c.septum)
	t.take("left-ventricular-internal-diameter-diastole", c.cavity)
	t.take("left-ventricular-posterior-wall-thickness-diastole", c.posterior)
	t.take("left-ventricular-internal-diameter-systole", c.cavitySystolic)
	t.derive("left-ventricular-fractional-shortening", 100*(c.cavity-c.cavitySystolic)/c.cavity)
	t.take("aortic-annulus-diameter", c.annulus)
	t.take("aortic-root-diameter", c.sinus)
	t.take("mitral-valve-e-wave-velocity", c.mitralE)
	t.take("mitral-valve-a-wave-velocity", c.mitralA)
	t.take("tricuspid-annular-plane-systolic-excursion", c.excursion)
	t.take("aortic-valve-peak-velocity", c.aorticVelocity)
	t.take("main-pulmonary-artery-diameter", c.pulmonaryTrunk)
	t.sayRhythm()
	t.say("", "summary", "Structurally normal heart.")
}
