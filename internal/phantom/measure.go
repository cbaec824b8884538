package phantom

import "math/rand/v2"

// Measure takes the whole study of a circulation, as far as the profile goes.
func Measure(p Profile, s Subject, heart Circulation, random *rand.Rand) *Record {
	t := Taker{&Record{Profile: p, Subject: s, Heart: heart}, random}
	switch p.Extent {
	case Pediatric:
		t.takeChild()
	case limited:
		t.takeLimited()
	default:
		t.TakeLeftVentricle()
		t.TakeOutflow()
		t.TakeDiastole()
		t.TakeLeftAtrium()
		t.TakeAorticValve()
		t.takeMitralRegurgitation()
		t.TakeRightVentricle()
		t.TakePulmonary()
		t.TakeTricuspidInflow()
		t.TakeTricuspidJet()
		t.TakeVeins()
		t.SayFindings()
	}
	return t.Record
}

// TakeLeftVentricle measures the left ventricle.
func (t Taker) TakeLeftVentricle() {
	c, area := t.Heart, t.Subject.BodySurface
	t.Take("interventricular-septum-thickness-diastole", c.septum)
	t.beats("left-ventricular-internal-diameter-diastole", c.Cavity)
	t.Take("left-ventricular-posterior-wall-thickness-diastole", c.posterior)
	t.beats("left-ventricular-internal-diameter-systole", c.CavitySystolic)
	t.Derive("left-ventricular-fractional-shortening", 100*(c.Cavity-c.CavitySystolic)/c.Cavity)
	muscle := ventricularMass(c.septum, c.Cavity, c.posterior)
	t.Derive("left-ventricular-mass", muscle)
	t.Derive("left-ventricular-mass-index", muscle/area)
	t.Take("left-ventricular-end-diastolic-volume-four-chamber", c.fourDiastolic)
	t.Take("left-ventricular-end-systolic-volume-four-chamber", c.fourSystolic)
	t.Take("left-ventricular-end-diastolic-volume-two-chamber", c.twoDiastolic)
	t.Take("left-ventricular-end-systolic-volume-two-chamber", c.twoSystolic)
	t.Take("left-ventricular-end-diastolic-volume-biplane", c.endDiastolic)
	t.Take("left-ventricular-end-systolic-volume-biplane", c.endSystolic)
	t.Derive("left-ventricular-ejection-fraction-biplane", 100*(c.endDiastolic-c.endSystolic)/c.endDiastolic)
	t.Derive("left-ventricular-end-diastolic-volume-index", c.endDiastolic/area)
	t.Derive("left-ventricular-end-systolic-volume-index", c.endSystolic/area)
	t.Take("left-ventricular-global-longitudinal-strain-peak-mean", c.Strain)
}

// TakeOutflow measures the outflow tract.
func (t Taker) TakeOutflow() {
	c, area := t.Heart, t.Subject.BodySurface
	t.Take("lvot-diameter", c.OutflowDiameter)
	t.Take("lvot-peak-velocity", c.outflowVelocity)
	t.beats("lvot-velocity-time-integral", c.OutflowIntegral)
	t.Derive("stroke-volume-lvot", c.Stroke)
	t.Derive("stroke-volume-index-lvot", c.Stroke/area)
	t.Derive("cardiac-output-lvot", c.Stroke*t.Subject.HeartRate/1000)
	t.Derive("cardiac-index-lvot", c.Stroke*t.Subject.HeartRate/1000/area)
}

// TakeDiastole measures filling.
func (t Taker) TakeDiastole() {
	c := t.Heart
	t.beats("mitral-valve-e-wave-velocity", c.MitralE)
	if t.Profile.rhythm == sinusRhythm {
		t.beats("mitral-valve-a-wave-velocity", c.mitralA)
		t.Derive("mitral-valve-e-to-a-ratio", c.MitralE/c.mitralA)
	}
	t.Take("mitral-valve-deceleration-time", c.mitralDeceleration)
	t.beats("mitral-annular-velocity-e-prime-septal", c.septalE)
	t.beats("mitral-annular-velocity-e-prime-lateral", c.lateralE)
	t.Take("mitral-annular-velocity-s-prime-septal", c.septalS)
	t.Derive("mitral-e-to-e-prime-ratio-septal", c.MitralE*100/c.septalE)
	t.Derive("mitral-e-to-e-prime-ratio-lateral", c.MitralE*100/c.lateralE)
	t.Take("left-ventricular-isovolumic-relaxation-time", c.relaxationTime)
	t.Take("pulmonary-vein-systolic-velocity", c.veinS)
	t.Take("pulmonary-vein-diastolic-velocity", c.veinD)
}

// TakeLeftAtrium measures the left atrium.
func (t Taker) TakeLeftAtrium() {
	c := t.Heart
	t.Take("left-atrial-anteroposterior-diameter", c.leftDiameter)
	t.Take("left-atrial-area-four-chamber", c.leftFour)
	t.Take("left-atrial-area-two-chamber", c.leftTwo)
	t.Take("left-atrial-length-four-chamber", c.leftLength)
	t.Derive("left-atrial-volume-biplane-area-length", c.leftVolume)
	t.Derive("left-atrial-volume-index-biplane-area-length", c.leftVolume/t.Subject.BodySurface)
}

// TakeAorticValve measures the aortic valve.
func (t Taker) TakeAorticValve() {
	c := t.Heart
	t.Take("aortic-valve-peak-velocity", c.AorticVelocity)
	t.Take("aortic-valve-velocity-time-integral", c.aorticIntegral)
	t.Derive("aortic-valve-peak-gradient", Gradient(c.AorticVelocity))
	t.Derive("aortic-valve-mean-gradient", c.aorticMean)
	valve := c.Stroke / c.aorticIntegral
	t.Derive("aortic-valve-area-continuity", valve)
	t.Derive("aortic-valve-area-index", valve/t.Subject.BodySurface)
	t.Take("aortic-annulus-diameter", c.annulus)
	t.Take("aortic-root-diameter", c.sinus)
	t.Take("sinotubular-junction-diameter", c.junction)
	t.Take("ascending-aorta-diameter", c.ascending)
	if !t.Profile.poorWindows {
		t.Take("aortic-arch-diameter", c.arch)
	}
}

func (t Taker) takeMitralRegurgitation() {
	c := t.Heart
	if t.Profile.mitralRegurgitation < moderate {
		return
	}
	t.Take("mitral-regurgitation-peak-velocity", c.mitralJet)
	t.Take("mitral-regurgitation-velocity-time-integral", c.mitralJetIntegral)
	t.Take("mitral-regurgitation-vena-contracta-width", c.mitralWidth)
	t.Take("mitral-regurgitation-pisa-radius", c.mitralRadius)
	t.Take("mitral-regurgitation-pisa-velocity", c.mitralAlias)
	t.Derive("mitral-regurgitation-effective-orifice-area", c.mitralOrifice())
	t.Derive("mitral-regurgitation-volume", c.mitralOrifice()*c.mitralJetIntegral)
}

// TakeRightVentricle measures the right ventricle.
func (t Taker) TakeRightVentricle() {
	c := t.Heart
	t.Take("right-ventricular-basal-diameter", c.basal)
	t.Take("right-ventricular-mid-diameter", c.middle)
	t.Take("right-ventricular-area-diastole", c.RightDiastolic)
	t.Take("right-ventricular-area-systole", c.RightSystolic)
	t.Derive("right-ventricular-fractional-area-change", 100*(c.RightDiastolic-c.RightSystolic)/c.RightDiastolic)
	if !t.Profile.poorWindows {
		t.Take("right-ventricular-wall-thickness-diastole", c.wall)
	}
	t.beats("tricuspid-annular-plane-systolic-excursion", c.Excursion)
	t.beats("tricuspid-annular-velocity-s-prime", c.RightS)
	t.Take("tricuspid-valve-closure-to-opening-time", c.closureToOpening)
	t.Take("right-ventricular-ejection-time", c.RightEjection)
	t.Derive("right-ventricular-performance-index", (c.closureToOpening-c.RightEjection)/c.RightEjection)
	t.Take("right-atrial-area", c.rightArea)
}

// TakePulmonary measures the pulmonary valve and artery.
func (t Taker) TakePulmonary() {
	c := t.Heart
	t.Take("rvot-diameter-distal", c.pulmonaryDiameter)
	t.Take("rvot-peak-velocity", c.pulmonaryVelocity)
	t.beats("rvot-velocity-time-integral", c.pulmonaryIntegral)
	t.beats("rvot-acceleration-time", c.AccelerationTime)
	t.Take("pulmonary-valve-peak-velocity", c.pulmonaryVelocity*1.06)
	t.Derive("pulmonary-valve-peak-gradient", Gradient(c.pulmonaryVelocity*1.06))
	t.Take("main-pulmonary-artery-diameter", c.pulmonaryTrunk)
	if t.Profile.pressure.Low > 30 {
		t.Take("pulmonary-regurgitation-peak-velocity", c.pulmonaryEarly)
		t.Take("pulmonary-regurgitation-end-diastolic-velocity", c.pulmonaryEnd)
	}
}

// TakeTricuspidInflow takes the inflow in both phases of breathing; in atrial
// fibrillation, over five beats instead, and without the atrial wave.
func (t Taker) TakeTricuspidInflow() {
	c := t.Heart
	if t.Profile.rhythm == atrialFibrillation {
		t.beats("tricuspid-valve-e-wave-velocity", c.TricuspidE)
	} else {
		rise := 1 + c.inspirationRise
		t.Take("tricuspid-valve-e-wave-velocity", c.TricuspidE*rise).Respiration = Inspiration
		t.Take("tricuspid-valve-a-wave-velocity", c.TricuspidA*rise).Respiration = Inspiration
		t.Take("tricuspid-valve-e-wave-velocity", c.TricuspidE).Respiration = Expiration
		t.Take("tricuspid-valve-a-wave-velocity", c.TricuspidA).Respiration = Expiration
		t.Derive("tricuspid-valve-e-to-a-ratio", c.TricuspidE/c.TricuspidA).Respiration = Expiration
	}
	t.Take("tricuspid-valve-deceleration-time", c.tricuspidDeceleration)
	t.Take("tricuspid-annulus-diameter-diastole", c.tricuspidAnnulus)
	t.Take("tricuspid-annular-velocity-e-prime", c.tricuspidAnnularE)
	if t.Profile.tricuspidStenosis {
		// A gradient over breathing needs more than the three beats of the rest.
		mean := t.Take("tricuspid-valve-mean-gradient", c.tricuspidMean)
		mean.Values, mean.Mean = scatter(t.Random, c.tricuspidMean, 5, 0.04), true
	} else {
		t.Take("tricuspid-valve-mean-gradient", c.tricuspidMean)
	}
	t.Take("tricuspid-valve-inflow-velocity-time-integral", c.tricuspidIntegral)
	t.Derive("tricuspid-valve-pressure-half-time", c.TricuspidHalfTime)
	if t.Profile.tricuspidStenosis {
		t.Derive("tricuspid-valve-area-continuity", c.Stroke/c.tricuspidIntegral)
		t.Derive("tricuspid-valve-area-pressure-half-time", 190/c.TricuspidHalfTime)
	}
}

// JetVelocity is the measurand most faults of the tricuspid valve are about.
const JetVelocity = "tricuspid-regurgitation-peak-velocity"

// TakeTricuspidJet takes the jet from three views; one of them sees it best.
func (t Taker) TakeTricuspidJet() {
	c := t.Heart
	if t.Profile.noJet {
		return
	}
	views := []term{ApicalFour, RvInflow, ShortAxisBase}
	best := t.Random.IntN(len(views))
	for i, view := range views {
		velocity := c.Jet
		if i != best {
			velocity *= Span{0.945, 0.985}.Draw(t.Random)
		}
		jet := t.Take(JetVelocity, velocity)
		if t.Profile.rhythm == atrialFibrillation {
			// Two beats from each view, the higher one last.
			jet.Values = []float64{velocity * 0.96, velocity}
		}
		jet.View, jet.Chosen = view, i == best
	}
	t.Derive("tricuspid-regurgitation-peak-gradient", Gradient(c.Jet))
	if t.Profile.tricuspidRegurgitation < moderate {
		return
	}
	t.Take("tricuspid-regurgitation-velocity-time-integral", c.jetIntegral)
	t.Take("tricuspid-regurgitation-vena-contracta-width", c.jetWidth)
	t.Take("tricuspid-regurgitation-pisa-radius", c.jetRadius)
	t.Take("tricuspid-regurgitation-pisa-velocity", c.jetAlias)
	t.Derive("tricuspid-regurgitation-effective-orifice-area", c.tricuspidOrifice())
	t.Derive("tricuspid-regurgitation-volume", c.tricuspidOrifice()*c.jetIntegral)
}

// TakeVeins measures the veins.
func (t Taker) TakeVeins() {
	c := t.Heart
	if t.Profile.poorWindows {
		return
	}
	t.Take("inferior-vena-cava-diameter-expiration", c.cavaExpiration).Respiration = Expiration
	t.Take("inferior-vena-cava-diameter-inspiration", c.cavaInspiration).Respiration = Inspiration
	t.Derive("inferior-vena-cava-collapse", 100*(c.cavaExpiration-c.cavaInspiration)/c.cavaExpiration)
	t.Take("hepatic-vein-systolic-velocity", c.hepaticS).Respiration = Expiration
	t.Take("hepatic-vein-diastolic-velocity", c.hepaticD).Respiration = Expiration
	t.Take("right-atrial-pressure", c.AtrialPressure).derivation = estimated
	if !t.Profile.noJet {
		t.Derive("right-ventricular-systolic-pressure", Gradient(c.Jet)+c.AtrialPressure)
	}
}

// takeLimited takes what a follow-up of a pericardial effusion needs.
func (t Taker) takeLimited() {
	c := t.Heart
	t.Take("left-ventricular-internal-diameter-diastole", c.Cavity)
	t.Take("left-ventricular-internal-diameter-systole", c.CavitySystolic)
	t.Take("mitral-valve-e-wave-velocity", c.MitralE*0.95).Respiration = Inspiration
	t.Take("mitral-valve-e-wave-velocity", c.MitralE).Respiration = Expiration
	rise := 1 + c.inspirationRise
	t.Take("tricuspid-valve-e-wave-velocity", c.TricuspidE*rise).Respiration = Inspiration
	t.Take("tricuspid-valve-e-wave-velocity", c.TricuspidE).Respiration = Expiration
	t.Take("inferior-vena-cava-diameter-expiration", c.cavaExpiration).Respiration = Expiration
	t.Take("inferior-vena-cava-diameter-inspiration", c.cavaInspiration).Respiration = Inspiration
	t.Derive("inferior-vena-cava-collapse", 100*(c.cavaExpiration-c.cavaInspiration)/c.cavaExpiration)
	t.say("", "protocol", "Limited study for pericardial effusion follow-up.")
	t.sayRhythm()
	t.say("", "pericardium", "Small pericardial effusion, unchanged. No chamber collapse.")
	t.say("", "breathing", "Respiratory trace shown; sample volume at the leaflet tips.")
}

// takeChild takes the short list of a child's study.
func (t Taker) takeChild() {
	c := t.Heart
	t.Take("interventricular-septum-thickness-diastole", c.septum)
	t.Take("left-ventricular-internal-diameter-diastole", c.Cavity)
	t.Take("left-ventricular-posterior-wall-thickness-diastole", c.posterior)
	t.Take("left-ventricular-internal-diameter-systole", c.CavitySystolic)
	t.Derive("left-ventricular-fractional-shortening", 100*(c.Cavity-c.CavitySystolic)/c.Cavity)
	t.Take("aortic-annulus-diameter", c.annulus)
	t.Take("aortic-root-diameter", c.sinus)
	t.Take("mitral-valve-e-wave-velocity", c.MitralE)
	t.Take("mitral-valve-a-wave-velocity", c.mitralA)
	t.Take("tricuspid-annular-plane-systolic-excursion", c.Excursion)
	t.Take("aortic-valve-peak-velocity", c.AorticVelocity)
	t.Take("main-pulmonary-artery-diameter", c.pulmonaryTrunk)
	t.sayRhythm()
	t.say("", "summary", "Structurally normal heart.")
}
