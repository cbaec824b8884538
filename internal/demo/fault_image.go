package demo

import "slices"

// imageFaults are about how the study was acquired; what was measured is
// right. Each is seen only in the headers of the images.
func imageFaults() []fault { return slices.Concat(spectrumFaults(), pictureFaults()) }

// spectrumFaults are in the settings of Doppler spectra.
func spectrumFaults() []fault {
	const profile, scanner = "healthy-middle", "petrelline"
	return []fault{
		{
			kind: "image-jet-cut", text: "The apical spectrum of the tricuspid jet ends below the velocity that was measured on it.",
			profile: "pulmonary-hypertension", dialect: scanner, outcome: "fail", measurand: jetVelocity,
			rules: []string{"acquisition/jet-within-scale"},
			seed:  func(c *record) { c.chooseJet(apicalFour) },
			shots: change("apical-jet", func(s *shot) { s.reach = 280 }),
		},
		{
			kind: "image-jet-cut-unreferenced", text: "The same, in a report that does not say on which image it was measured.",
			profile: "pulmonary-hypertension", dialect: scanner, outcome: "review", measurand: jetVelocity,
			rules: []string{"acquisition/jet-within-scale"},
			seed:  func(c *record) { c.chooseJet(apicalFour) },
			shots: func(shots []shot) []shot {
				cut := change("apical-jet", func(s *shot) { s.reach = 280 })
				return cut(without("tricuspid-gradient")(shots)) // which would be as likely
			},
			unreferenced: true,
		},
		{
			kind: "image-inflow-wide-scale", text: "Tricuspid inflow on a scale made for a jet.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"acquisition/tricuspid-inflow-fills-scale", "acquisition/tricuspid-inflow-low-scale"},
			shots: change("tricuspid-breathing", func(s *shot) { s.reach = 400 }),
		},
		{
			kind: "image-breathing-fast-sweep", text: "The change of tricuspid inflow with breathing read from a fast sweep.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"acquisition/sweep-tricuspid-phases"},
			shots: change("tricuspid-breathing", func(s *shot) { s.sweep = fastSweep }),
		},
		{
			kind: "image-half-time-slow-sweep", text: "Tricuspid pressure half-time read from a slow sweep.",
			profile: "healthy-older", dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-deceleration-time",
			rules: []string{"acquisition/sweep-tricuspid-deceleration"},
			shots: change("tricuspid-inflow", func(s *shot) { s.sweep = slowSweep }),
		},
		{
			kind: "image-angle-corrected", text: "Aortic jet with a correction of 30 degrees.",
			profile: "aortic-stenosis", dialect: scanner, outcome: "fail", measurand: "aortic-valve-peak-velocity",
			rules: []string{"acquisition/angle-not-corrected"},
			shots: change("aortic-jet", func(s *shot) { s.angle = 30 }),
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
			profile: profile, dialect: scanner, outcome: "fail", measurand: jetVelocity,
			rules: []string{"acquisition/jet-view-fits-image"},
			seed:  func(c *record) { c.chooseJet(apicalFour) },
			shots: change("apical-jet", func(s *shot) { s.shown = shortAxisBase }),
		},
		{
			kind: "image-resized", text: "The long axis was made smaller when it was exported; its calibration was not.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "left-ventricular-internal-diameter-diastole",
			rules: []string{"acquisition/regions-inside-image", "acquisition/measured-image-calibrated"},
			shots: change("long-axis", func(s *shot) { s.resized = true }),
		},
		{
			kind: "image-strain-slow-loop", text: "Strain from a loop of 25 frames a second.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "left-ventricular-global-longitudinal-strain-peak-mean",
			rules: []string{"acquisition/frame-rate-strain"},
			shots: change("four-chamber", func(s *shot) { s.rate = 25 }),
		},
		{
			kind: "image-sample-deep", text: "The sample for tricuspid inflow lies in the atrium.",
			profile: profile, dialect: scanner, outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"acquisition/tricuspid-inflow-sample-depth"},
			shots: change("tricuspid-breathing", func(s *shot) { s.sample = 14 }),
		},
		{
			kind: "image-pixel-spacing", text: "Pixel spacing of the four-chamber loop is ten times the region's scale.",
			profile: profile, dialect: scanner, outcome: "fail",
			rules: []string{"acquisition/pixel-spacing-agrees"},
			shots: change("four-chamber", func(s *shot) { s.spacing = 10 }),
		},
	}
}

// chooseJet makes the view the one that sees the jet best.
func (c *record) chooseJet(view term) {
	found := c.find(jetVelocity)
	best := slices.IndexFunc(found, func(r *reading) bool { return r.chosen })
	here := slices.IndexFunc(found, func(r *reading) bool { return r.view == view })
	found[best].values, found[here].values = found[here].values, found[best].values
	found[best].chosen, found[here].chosen = false, true
}

// change alters the shot of a name.
func change(name string, alter func(*shot)) func([]shot) []shot {
	return func(shots []shot) []shot {
		i := slices.IndexFunc(shots, func(s shot) bool { return s.name == name })
		alter(&shots[i])
		return shots
	}
}

// without leaves shots out.
func without(names ...string) func([]shot) []shot {
	return func(shots []shot) []shot {
		return slices.DeleteFunc(shots, func(s shot) bool { return slices.Contains(names, s.name) })
	}
}
