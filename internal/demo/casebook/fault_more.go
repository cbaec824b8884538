package casebook

import "echotally/internal/phantom"

// gaps are studies that lack what their kind asks for.
func gaps() []fault {
	drop := func(kind, text, profile, dialect, rule string, measurands ...string) fault {
		return fault{
			kind: kind, text: text, profile: profile, dialect: dialect, outcome: "fail", measurand: measurands[0],
			rules: []string{rule},
			seed:  func(c *phantom.Record) { c.Remove(measurands...) },
		}
	}
	return []fault{
		drop("fraction-missing", "No ejection fraction.", "healthy-older", "gullmere",
			"left-ventricle/ejection-fraction-present", "left-ventricular-ejection-fraction-biplane"),
		drop("acceleration-missing", "Raised pressure without the acceleration time of the pulmonary flow.", "pulmonary-hypertension", "petrelline",
			"pulmonary-artery/acceleration-time-present", "rvot-acceleration-time"),
		drop("basal-diameter-missing", "No basal diameter of the right ventricle.", "tricuspid-regurgitation-severe", "petrelline",
			"right-ventricle/basal-diameter-present", "right-ventricular-basal-diameter"),
		drop("regurgitation-not-quantified", "Moderate tricuspid regurgitation without vena contracta, orifice area or volume.",
			"tricuspid-regurgitation-moderate", "gullmere", "tricuspid-valve/vena-contracta-present",
			"tricuspid-regurgitation-vena-contracta-width", "tricuspid-regurgitation-effective-orifice-area", "tricuspid-regurgitation-volume"),
		drop("stenosis-without-area", "Tricuspid stenosis without a valve area.", "tricuspid-stenosis", "gullmere",
			"tricuspid-valve/stenosis-area-present", "tricuspid-valve-area-continuity", "tricuspid-valve-area-pressure-half-time"),
		{
			kind: "size-missing", text: "Height, weight and body surface area are missing.",
			profile: "healthy-young", dialect: "petrelline", outcome: "fail",
			rules: []string{"patient/body-size-recorded"},
			also:  []string{"left-atrium/volume-index-present"},
			seed: func(c *phantom.Record) {
				c.Subject.Height, c.Subject.Weight, c.Subject.BodySurface = 0, 0, 0
				c.Remove("left-ventricular-mass-index", "left-ventricular-end-diastolic-volume-index",
					"left-ventricular-end-systolic-volume-index", "stroke-volume-index-lvot", "cardiac-index-lvot",
					"left-atrial-volume-index-biplane-area-length", "aortic-valve-area-index")
			},
		},
	}
}

// exchanges are two values under each other's name.
func exchanges() []fault {
	return []fault{
		{
			kind: "pulmonary-regurgitation-swapped", text: "Early and end-diastolic pulmonary regurgitation are exchanged.",
			profile: "pulmonary-hypertension", dialect: "oldbarrow", outcome: "fail", measurand: "pulmonary-regurgitation-end-diastolic-velocity",
			rules: []string{"pulmonary-valve/regurgitation-falls-through-diastole"},
			seed: func(c *phantom.Record) {
				c.Exchange("pulmonary-regurgitation-peak-velocity", "pulmonary-regurgitation-end-diastolic-velocity")
			},
		},
		{
			kind: "cava-phases-swapped", text: "Inspiration and expiration of the vena cava are exchanged.",
			profile: "healthy-middle", dialect: "gullmere", outcome: "fail", measurand: "inferior-vena-cava-diameter-inspiration",
			rules: []string{"right-atrium/ivc-narrower-in-inspiration"},
			also:  []string{"right-atrium/ivc-collapse-from-diameters", "right-atrium/rap-fits-ivc"},
			seed: func(c *phantom.Record) {
				c.Exchange("inferior-vena-cava-diameter-inspiration", "inferior-vena-cava-diameter-expiration")
			},
		},
		{
			kind: "times-swapped", text: "Closure-to-opening and ejection time of the right ventricle are exchanged.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-closure-to-opening-time",
			rules: []string{"right-ventricle/closure-longer-than-ejection"},
			also:  []string{"right-ventricle/performance-index-from-times"},
			seed: func(c *phantom.Record) {
				c.Exchange("tricuspid-valve-closure-to-opening-time", "right-ventricular-ejection-time")
			},
		},
		{
			kind: "pressure-swapped", text: "Systolic and diastolic arterial pressure are exchanged.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail",
			rules: []string{"patient/blood-pressure-in-order"},
			seed: func(c *phantom.Record) {
				c.Subject.Systolic, c.Subject.Diastolic = c.Subject.Diastolic, c.Subject.Systolic
			},
		},
	}
}

// slips are numbers that cannot be what they are called.
func slips() []fault {
	return []fault{
		{
			kind: "annular-velocity-unit-slip", text: "S' in metres per second stored under centimetres per second.",
			profile: "healthy-young", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-annular-velocity-s-prime",
			rules: []string{"right-ventricle/s-prime-plausible"},
			also:  []string{"right-ventricle/function-indices-agree"},
			seed:  func(c *phantom.Record) { c.One("tricuspid-annular-velocity-s-prime").Scale = 0.01 },
		},
		{
			kind: "jet-unit-slip", text: "Tricuspid velocities in centimetres per second stored under metres per second.",
			profile: "healthy-older", dialect: "gullmere", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-plausible"},
			also: []string{
				"tricuspid-valve/regurgitation-gradient-from-velocity", "tricuspid-valve/rv-systolic-pressure-from-velocity",
				"pulmonary-artery/velocity-fits-acceleration-time",
			},
			seed: func(c *phantom.Record) {
				for _, r := range c.Find(phantom.JetVelocity) {
					r.Scale = 100
				}
			},
		},
		{
			kind: "volume-typed", text: "Regurgitant volume does not belong to its orifice area.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-regurgitation-volume",
			rules: []string{"tricuspid-valve/regurgitant-volume-from-orifice-area"},
			also:  []string{"tricuspid-valve/grade-against-regurgitant-volume"},
			seed: func(c *phantom.Record) {
				r := c.One("tricuspid-regurgitation-volume")
				r.Set(r.Value() * 1.8)
			},
		},
		{
			kind: "mitral-a-wave-in-fibrillation", text: "Mitral atrial wave measured in atrial fibrillation.",
			profile: "atrial-fibrillation", dialect: "gullmere", outcome: "fail", measurand: "mitral-valve-a-wave-velocity",
			rules: []string{"mitral-valve/a-wave-needs-sinus-rhythm"},
			seed: func(c *phantom.Record) {
				t := phantom.Taker{Record: c}
				t.Take("mitral-valve-a-wave-velocity", c.Heart.MitralE/1.5)
				t.Derive("mitral-valve-e-to-a-ratio", 1.5)
			},
		},
	}
}

// contradictions are words against numbers.
func contradictions() []fault {
	return []fault{
		{
			kind: "size-word-wrong", text: "The right ventricle is called normal in size, but is wide.",
			profile: "tricuspid-regurgitation-severe", dialect: "oldbarrow", outcome: "fail", measurand: "right-ventricular-basal-diameter",
			rules: []string{"right-ventricle/size-word-fits-basal-diameter"},
			seed: func(c *phantom.Record) {
				c.One("right-ventricular-basal-diameter").Set(4.9)
				c.Reword("right-ventricle", "Right ventricle of normal size. Right ventricular function normal.")
			},
		},
		{
			kind: "hypertension-word-wrong", text: "Pulmonary hypertension is called improbable in spite of a fast jet.",
			profile: "pulmonary-hypertension", dialect: "gullmere", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"pulmonary-artery/hypertension-word-fits-velocity"},
			seed:  func(c *phantom.Record) { c.Reword("probability", "Low probability of pulmonary hypertension.") },
		},
		{
			kind: "stenosis-overlooked", text: "The numbers are those of tricuspid stenosis, which no word of the report names.",
			profile: "tricuspid-stenosis", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-valve-mean-gradient",
			rules: []string{"tricuspid-valve/stenosis-not-overlooked"},
			also:  []string{"tricuspid-valve/inflow-below-mitral", "tricuspid-valve/area-plausible"},
			seed: func(c *phantom.Record) {
				c.Reword("stenosis", "")
				c.Reword("summary", "")
			},
		},
		{
			kind: "incomplete-jet-measured", text: "The jet is called incomplete, yet its velocity is reported.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "review", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/velocity-despite-incomplete-signal"},
			seed: func(c *phantom.Record) {
				c.Add(phantom.Remark{Section: phantom.TricuspidValve, Text: "Incomplete TR envelope in all windows."})
			},
		},
	}
}
