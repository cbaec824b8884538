package casebook

import (
	"slices"

	"echotally/internal/phantom"
)

// lesionPlans are studies of the right heart and of valves whose words and
// numbers do not go together, behind all others so that these stay as they are.
func lesionPlans() []plan {
	out := slices.Concat(withCounterparts(lesionFaults()), withCounterparts(leftLesionFaults()), laterVisits())
	for i := range out {
		out[i].filed = true
	}
	return out
}

func lesionFaults() []fault {
	return slices.Concat(severeJetFaults(), ungradedFaults(), leafletFaults(), freeWallFaults(), loadFaults(),
		constrictionFaults(), pulmonaryLeakFaults(), pulmonaryStenosisFaults())
}

// said is a fault that lies in a sentence alone.
func said(kind, text, profile, dialect, section, words string, rules ...string) fault {
	return fault{
		kind: kind, text: text, profile: profile, dialect: dialect, outcome: "fail", rules: rules,
		seed: func(c *phantom.Record) { c.Add(phantom.Remark{Section: phantom.SectionNamed(section), Text: words}) },
	}
}

const (
	severeLeak   = "tricuspid-regurgitation-severe"
	moderateLeak = "tricuspid-regurgitation-moderate"
	contracta    = "tricuspid-regurgitation-vena-contracta-area"
)

// severeJetFaults are about the jet of severe tricuspid regurgitation.
func severeJetFaults() []fault {
	return []fault{
		{
			kind: "severe-jet-faint", text: "Severe tricuspid regurgitation with a faint signal in continuous wave.",
			profile: severeLeak, dialect: "petrelline", outcome: "fail",
			rules: []string{"tricuspid-valve/grade-against-jet-contour"},
			seed: func(c *phantom.Record) {
				c.Reword("tricuspid", "Severe tricuspid regurgitation. Central TR jet. Soft TR signal. Tricuspid leaflets do not coapt.")
			},
		},
		{
			kind: "severe-leak-unexplained", text: "Severe tricuspid regurgitation without its cause, contour, gap, tethering and free-wall strain.",
			profile: severeLeak, dialect: "gullmere", outcome: "fail",
			rules: []string{
				"tricuspid-valve/severe-jet-contour-described", "tricuspid-valve/severe-regurgitation-cause-named",
				"tricuspid-valve/severe-regurgitation-coaptation-described", "right-ventricle/free-wall-strain-present",
			},
			seed: func(c *phantom.Record) {
				c.Reword("tricuspid", "Severe tricuspid regurgitation. Central TR jet.")
				c.Reword("cause", "")
			},
		},
		{
			kind: "contracta-area-against-grade", text: "Called moderate, but the three-dimensional vena contracta area is that of severe regurgitation.",
			profile: moderateLeak, dialect: "petrelline", outcome: "fail", measurand: contracta,
			rules: []string{"tricuspid-valve/grade-against-vena-contracta-area"},
			seed:  func(c *phantom.Record) { phantom.Taker{Record: c}.Take(contracta, 0.9) },
		},
		{
			kind: "contracta-area-unit-slip", text: "Vena contracta area in square centimetres stored under square millimetres.",
			profile: severeLeak, dialect: "petrelline", outcome: "fail", measurand: contracta,
			rules: []string{"tricuspid-valve/vena-contracta-area-plausible"},
			also:  []string{"tricuspid-valve/grade-against-vena-contracta-area"},
			seed:  func(c *phantom.Record) { phantom.Taker{Record: c}.Take(contracta, 0.8).Scale = 0.01 },
		},
		{
			kind: "severe-leak-unsupported", text: "Tricuspid regurgitation is called severe, and most of its numbers are those of moderate.",
			profile: moderateLeak, dialect: "oldbarrow", outcome: "fail",
			rules: []string{"tricuspid-valve/severe-regurgitation-supported"},
			seed: func(c *phantom.Record) {
				c.Reword("tricuspid", "Severe tricuspid regurgitation. Central TR jet. Dense parabolic TR signal.")
				c.Reword("summary", "Severe tricuspid regurgitation.")
			},
		},
	}
}

// ungradedFaults are numbers in the severe range that no word grades.
func ungradedFaults() []fault {
	return []fault{
		{
			kind: "severe-tricuspid-ungraded", text: "Tricuspid numbers in the severe range, and no sentence grades the valve.",
			profile: severeLeak, dialect: "petrelline", outcome: "fail",
			rules: []string{"tricuspid-valve/regurgitation-grade-stated"},
			also:  []string{"tricuspid-valve/inflow-below-mitral"},
			seed: func(c *phantom.Record) {
				c.Reword("tricuspid", "Central TR jet.")
				c.Reword("summary", "")
			},
		},
		{
			kind: "severe-mitral-ungraded", text: "Mitral numbers in the severe range, and no sentence grades the valve.",
			profile: "mitral-regurgitation", dialect: "petrelline", outcome: "fail",
			rules: []string{"document/mitral-regurgitation-grade-stated"},
			seed: func(c *phantom.Record) {
				c.One("mitral-regurgitation-vena-contracta-width").Set(0.8)
				c.Reword("mitral", "Posteriorly directed mitral jet.")
				c.Reword("summary", "")
			},
		},
		{
			kind: "severe-aortic-ungraded", text: "A wide aortic vena contracta, and no sentence grades the leak.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail",
			rules: []string{"document/aortic-regurgitation-grade-stated"},
			seed: func(c *phantom.Record) {
				phantom.Taker{Record: c}.Take("aortic-regurgitation-vena-contracta-width", 0.7)
				c.Reword("aortic", "Aortic valve opens well.")
			},
		},
	}
}

// leafletFaults are about leaflets and annulus of the tricuspid valve.
func leafletFaults() []fault {
	annulus := "tricuspid-annulus-diameter-diastole"
	wrongWord := said("annulus-word-wrong", "The tricuspid annulus is called dilated and is narrow.", "healthy-middle", "petrelline",
		"tricuspid", "Tricuspid annulus dilated.", "tricuspid-valve/annulus-word-fits-diameter")
	narrow := wrongWord.seed
	wrongWord.seed = func(c *phantom.Record) {
		c.One(annulus).Set(2.7)
		narrow(c)
	}
	return []fault{
		{
			kind: "cause-against-leaflets", text: "Regurgitation is called atrial, and the leaflets tethered.",
			profile: severeLeak, dialect: "oldbarrow", outcome: "fail",
			rules: []string{"tricuspid-valve/cause-fits-findings"},
			seed:  func(c *phantom.Record) { c.Reword("cause", "Atrial functional TR. Tethered tricuspid leaflets.") },
		},
		said("gap-with-trivial-leak", "The leaflets do not meet, and the regurgitation is called trivial.", "healthy-older", "gullmere",
			"tricuspid", "Coaptation gap of the tricuspid leaflets.", "tricuspid-valve/coaptation-defect-with-mild-regurgitation"),
		{
			kind: "annulus-missing-in-stenosis", text: "Severe aortic stenosis without the tricuspid annulus.",
			profile: "aortic-stenosis", dialect: "petrelline", outcome: "fail", measurand: annulus,
			rules: []string{"tricuspid-valve/annulus-in-left-sided-disease-present"},
			seed:  func(c *phantom.Record) { c.Remove(annulus, "tricuspid-annulus-diameter-systole") },
		},
		wrongWord,
	}
}

// freeWallFaults are about the free wall of the right ventricle.
func freeWallFaults() []fault {
	const strain = "right-ventricular-free-wall-strain"
	return []fault{
		{
			kind: "free-wall-strain-as-fraction", text: "Free-wall strain as a fraction under per cent.",
			profile: "pulmonary-hypertension", dialect: "petrelline", outcome: "fail", measurand: strain,
			rules: []string{"right-ventricle/free-wall-strain-plausible"},
			seed:  func(c *phantom.Record) { phantom.Taker{Record: c}.Take(strain, -0.17) },
		},
		{
			kind: "free-wall-lost", text: "The tracking lost the free wall: strain of a failing ventricle beside two normal numbers.",
			profile: "healthy-young", dialect: "petrelline", outcome: "fail", measurand: strain,
			rules: []string{"right-ventricle/free-wall-strain-fits-function"},
			seed:  func(c *phantom.Record) { phantom.Taker{Record: c}.Take(strain, -9) },
		},
		{
			kind: "basal-diameter-plain-view", text: "The basal diameter was measured in the plain four-chamber view.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: "right-ventricular-basal-diameter",
			rules: []string{"right-ventricle/basal-diameter-from-focused-view"},
			seed:  func(c *phantom.Record) { c.One("right-ventricular-basal-diameter").View = phantom.ApicalFour },
		},
		said("still-wall-normal-function", "A still free wall, and the function is called normal.", "healthy-older", "oldbarrow",
			"right-ventricle", "McConnell's sign.", "right-ventricle/mcconnell-fits-function"),
	}
}

// loadFaults are about the pressure in the lungs.
func loadFaults() []fault {
	const time = "rvot-acceleration-time"
	short := func(ms float64) func(*phantom.Record) { return func(c *phantom.Record) { c.One(time).Set(ms) } }
	notch := said("notch-with-long-time", "A notched outflow beside a long acceleration time.", "healthy-young", "gullmere",
		"pulmonary-valve", "RVOT flow with mid-systolic notch.", "pulmonary-artery/notch-fits-resistance")
	words := notch.seed
	notch.seed = func(c *phantom.Record) {
		short(142)(c)
		words(c)
	}
	return []fault{
		said("sixty-sixty-with-long-time", "The 60/60 sign beside a long acceleration time.", "healthy-older", "petrelline",
			"pulmonary-valve", "60/60 sign.", "pulmonary-artery/sixty-sixty-fits-numbers"),
		{
			kind: "sixty-sixty-unnamed", text: "A very short acceleration time with a raised gradient, and no word on it.",
			profile: severeLeak, dialect: "petrelline", outcome: "fail", measurand: time,
			rules: []string{"pulmonary-artery/sixty-sixty-named"},
			seed:  short(55),
		},
		said("embolism-undescribed", "Pulmonary embolism without a word on the free wall.", "pulmonary-hypertension", "oldbarrow",
			"right-ventricle", "Acute pulmonary embolism.", "pulmonary-artery/embolism-signs-described"),
		notch,
		{
			kind: "outflow-shape-left-out", text: "Pulmonary hypertension without a word on the shape of the outflow.",
			profile: "pulmonary-hypertension", dialect: "gullmere", outcome: "fail",
			rules: []string{"pulmonary-artery/flow-shape-described"},
			seed:  func(c *phantom.Record) { c.Reword("probability", "High probability of pulmonary hypertension.") },
		},
		{
			kind: "weak-jet-left-weak", text: "Pulmonary hypertension in question, the jet incomplete, and neither saline nor contrast given.",
			profile: "pulmonary-hypertension", dialect: "petrelline", outcome: "fail",
			rules: []string{"tricuspid-valve/weak-jet-enhanced"},
			seed: func(c *phantom.Record) {
				c.Remove(phantom.JetVelocity, "tricuspid-regurgitation-peak-gradient", "right-ventricular-systolic-pressure")
				c.Add(phantom.Remark{Section: phantom.TricuspidValve, Text: "Incomplete TR envelope in all windows."})
			},
		},
		{
			kind: "pressure-above-cuff", text: "A right ventricular pressure above that of the cuff.",
			profile: moderateLeak, dialect: "petrelline", outcome: "fail", measurand: "right-ventricular-systolic-pressure",
			rules: []string{"pulmonary-artery/systolic-pressure-above-arterial"},
			also:  []string{"tricuspid-valve/rv-systolic-pressure-from-velocity"},
			seed: func(c *phantom.Record) {
				c.One("right-ventricular-systolic-pressure").Set(min(c.Subject.Systolic+12, 165))
			},
		},
	}
}

// constrictionFaults are about constriction in words.
func constrictionFaults() []fault {
	return []fault{
		said("constriction-half-described", "Constriction without a word on the hepatic veins in expiration.", "healthy-middle", "oldbarrow",
			"pericardium", "Constrictive physiology with septal bounce.", "pericardium/constriction-expiratory-reversal-described"),
		said("constriction-without-signs", "Constriction is stated, and its signs are denied.", "healthy-older", "petrelline",
			"pericardium", "Constrictive physiology. No septal bounce. No expiratory reversal in the hepatic veins.", "pericardium/constriction-not-without-its-signs"),
	}
}

// pulmonaryLeakFaults are about pulmonary regurgitation.
func pulmonaryLeakFaults() []fault {
	const half, width, ring = "pulmonary-regurgitation-pressure-half-time", "pulmonary-regurgitation-jet-width", "pulmonary-annulus-diameter"
	leak := func(kind, text, words, rule string, ms, jet float64) fault {
		f := said(kind, text, "healthy-middle", "petrelline", "pulmonary-valve", words, rule)
		say := f.seed
		f.measurand = half
		f.seed = func(c *phantom.Record) {
			t := phantom.Taker{Record: c}
			t.Take(half, ms)
			t.Take(width, jet)
			t.Take(ring, 2.4)
			say(c)
		}
		return f
	}
	return []fault{
		said("pulmonary-leak-unmeasured", "Moderate pulmonary regurgitation without a number.", "healthy-older", "gullmere",
			"pulmonary-valve", "Moderate pulmonary regurgitation.",
			"pulmonary-valve/regurgitation-deceleration-recorded", "pulmonary-valve/regurgitation-width-recorded"),
		leak("pulmonary-leak-undergraded", "Pulmonary regurgitation is called mild, with half-time and width of severe.",
			"Mild pulmonary regurgitation.", "pulmonary-valve/severe-signs-with-mild-grade", 78, 1.9),
		leak("pulmonary-leak-overgraded", "Pulmonary regurgitation is called severe, with half-time and width of mild.",
			"Severe pulmonary regurgitation.", "pulmonary-valve/severe-regurgitation-supported", 260, 0.5),
	}
}

// pulmonaryStenosisFaults are about pulmonary stenosis.
func pulmonaryStenosisFaults() []fault {
	const v, gradient = "pulmonary-valve-peak-velocity", "pulmonary-valve-peak-gradient"
	narrow := func(f fault, seed func(*phantom.Record)) fault {
		say := f.seed
		f.seed = func(c *phantom.Record) {
			seed(c)
			say(c)
		}
		return f
	}
	unmeasured := said("pulmonary-stenosis-unmeasured", "Pulmonary stenosis without its gradient and without a right ventricular pressure.", "healthy-middle", "oldbarrow",
		"pulmonary-valve", "Moderate valvar pulmonary stenosis.",
		"pulmonary-valve/stenosis-peak-gradient-present", "pulmonary-valve/stenosis-right-ventricular-pressure-available")
	unmeasured.also = []string{"tricuspid-valve/peak-velocity-or-reason"}
	return []fault{
		narrow(said("pulmonary-stenosis-undergraded", "Pulmonary stenosis is called mild, with velocity and gradient of severe.", "healthy-young", "petrelline",
			"pulmonary-valve", "Mild pulmonary stenosis.",
			"pulmonary-valve/stenosis-grade-against-peak-gradient", "pulmonary-valve/stenosis-grade-against-velocity", "pulmonary-valve/stenosis-level-named"),
			func(c *phantom.Record) {
				c.One(v).Set(4.4)
				c.One(gradient).Set(phantom.Gradient(4.4))
			}),
		narrow(unmeasured,
			func(c *phantom.Record) {
				c.Remove(v, gradient, phantom.JetVelocity, "tricuspid-regurgitation-peak-gradient", "right-ventricular-systolic-pressure")
			}),
	}
}
