package casebook

import (
	"slices"

	"echotally/internal/phantom"
)

// imageFaults are about how the study was acquired; what was measured is
// right. Each is seen only in the headers of the images.
func imageFaults() []fault { return slices.Concat(spectrumFaults(), pictureFaults()) }

// spectrumFaults are in the settings of Doppler spectra.
func spectrumFaults() []fault {
	const profile, scanner = "healthy-middle", "petrelline"
	return []fault{
		{
			kind: "image-jet-cut", text: "The apical spectrum of the tricuspid jet ends below the velocity that was measured on it.",
			profile: "pulmonary-hypertension", dialect: scanner, outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"acquisition/jet-within-scale"},
			seed:  func(c *phantom.Record) { c.ChooseJet(phantom.ApicalFour) },
			shots: change("apical-jet", func(s *phantom.Shot) { s.Reach = 280 }),
		},
		{
			kind: "image-jet-cut-unreferenced", text: "The same, in a report that does not say on which image it was measured.",
			profile: "pulmonary-hypertension", dialect: scanner, outcome: "review", measurand: phantom.JetVelocity,
			rules: []string{"acquisition/jet-within-scale"},
			seed:  func(c *phantom.Record) { c.ChooseJet(phantom.ApicalFour) },
			shots: func(shots []phantom.Shot) []phantom.Shot {
				cut := change("apical-jet", func(s *phantom.Shot) { s.Reach = 280 })
				return cut(without("tricuspid-gradient")(shots)) // which would be as likely
			},
			unreferenced: true,
		},
		{
			kind: "image-inflow-wide-scale", text: "Tricuspid inflow on a scale made for a jet.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"acquisition/tricuspid-inflow-fills-scale", "acquisition/tricuspid-inflow-low-scale"},
			shots: change("tricuspid-breathing", func(s *phantom.Shot) { s.Reach = 400 }),
		},
		{
			kind: "image-breathing-fast-sweep", text: "The change of tricuspid inflow with breathing read from a fast sweep.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"acquisition/sweep-tricuspid-phases"},
			shots: change("tricuspid-breathing", func(s *phantom.Shot) { s.Sweep = phantom.FastSweep }),
		},
		{
			kind: "image-half-time-slow-sweep", text: "Tricuspid pressure half-time read from a slow sweep.",
			profile: "healthy-older", dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-deceleration-time",
			rules: []string{"acquisition/sweep-tricuspid-deceleration"},
			shots: change("tricuspid-inflow", func(s *phantom.Shot) { s.Sweep = phantom.SlowSweep }),
		},
		{
			kind: "image-angle-corrected", text: "Aortic jet with a correction of 30 degrees.",
			profile: "aortic-stenosis", dialect: scanner, outcome: "fail", measurand: "aortic-valve-peak-velocity",
			rules: []string{"acquisition/angle-not-corrected"},
			shots: change("aortic-jet", func(s *phantom.Shot) { s.Angle = 30 }),
		},
	}
}

// pictureFaults are in what was stored and how it was exported.
func pictureFaults() []fault {
	const profile, scanner = "healthy-middle", "petrelline"
	return []fault{
		{
			kind: "image-two-chamber-missing", text: "No image of the apical two-chamber view.",
			profile: profile, dialect: scanner, outcome: "fail",
			rules: []string{"acquisition/view-apical-two-chamber"},
			shots: without("two-chamber"),
		},
		{
			kind: "image-tricuspid-colour-once", text: "Colour of the tricuspid valve from one view only.",
			profile: "tricuspid-regurgitation-moderate", dialect: scanner, outcome: "fail",
			rules: []string{"acquisition/colour-tricuspid-two-views"},
			shots: without("inflow-colour", "base-colour"), also: []string{"acquisition/colour-pulmonary", "acquisition/view-right-ventricular-inflow", "acquisition/view-short-axis-base"},
		},
		{
			kind: "image-view-differs", text: "The report notes the apical view for a jet that was measured in the short axis.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"acquisition/jet-view-fits-image"},
			seed:  func(c *phantom.Record) { c.ChooseJet(phantom.ApicalFour) },
			shots: change("apical-jet", func(s *phantom.Shot) { s.Shown = phantom.ShortAxisBase }),
		},
		{
			kind: "image-resized", text: "The long axis was made smaller when it was exported; its calibration was not.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "left-ventricular-internal-diameter-diastole",
			rules: []string{"acquisition/regions-inside-image", "acquisition/measured-image-calibrated"},
			shots: change("long-axis", func(s *phantom.Shot) { s.Resized = true }),
		},
		{
			kind: "image-strain-slow-loop", text: "Strain from a loop of 25 frames a second.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "left-ventricular-global-longitudinal-strain-peak-mean",
			rules: []string{"acquisition/frame-rate-strain"},
			shots: change("four-chamber", func(s *phantom.Shot) { s.Rate = 25 }),
		},
		{
			kind: "image-sample-deep", text: "The sample for tricuspid inflow lies in the atrium.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"acquisition/tricuspid-inflow-sample-depth"},
			shots: change("tricuspid-breathing", func(s *phantom.Shot) { s.Sample = 14 }),
		},
		{
			kind: "image-pixel-spacing", text: "Pixel spacing of the four-chamber loop is ten times the region's scale.",
			profile: profile, dialect: scanner, outcome: "fail",
			rules: []string{"acquisition/pixel-spacing-agrees"},
			shots: change("four-chamber", func(s *phantom.Shot) { s.Spacing = 10 }),
		},
	}
}

// change alters the shot of a name.
func change(name string, alter func(*phantom.Shot)) func([]phantom.Shot) []phantom.Shot {
	return func(shots []phantom.Shot) []phantom.Shot {
		i := slices.IndexFunc(shots, func(s phantom.Shot) bool { return s.Name == name })
		alter(&shots[i])
		return shots
	}
}

// without leaves shots out.
func without(names ...string) func([]phantom.Shot) []phantom.Shot {
	return func(shots []phantom.Shot) []phantom.Shot {
		return slices.DeleteFunc(shots, func(s phantom.Shot) bool { return slices.Contains(names, s.Name) })
	}
}
