package casebook

import "echotally/internal/phantom"

// viewFaults are about the views of the tricuspid regurgitation velocity.
func viewFaults() []fault {
	return []fault{
		{
			kind: "jet-missing", text: "Tricuspid velocity and pressure are missing and no reason is given.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-or-reason"},
			seed: func(c *phantom.Record) {
				c.Remove(phantom.JetVelocity, "tricuspid-regurgitation-peak-gradient", "right-ventricular-systolic-pressure")
			},
		},
		{
			kind: "jet-one-view", text: "Tricuspid velocity from the apical view only.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-from-two-views"},
			seed:  func(c *phantom.Record) { c.KeepJet(phantom.ApicalFour) },
		},
		{
			kind: "jet-one-view", text: "Tricuspid velocity from the apical view only.",
			profile: "pulmonary-hypertension", dialect: "oldbarrow", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-from-two-views"},
			seed:  func(c *phantom.Record) { c.KeepJet(phantom.ApicalFour) },
		},
		{
			kind: "jet-eccentric-apical", text: "Eccentric jet, not measured from the right ventricular inflow view.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/inflow-view-with-eccentric-jet"},
			seed: func(c *phantom.Record) {
				c.Reword("tricuspid", "Moderate tricuspid regurgitation. Eccentric TR jet towards the septum.")
				for _, r := range c.Find(phantom.JetVelocity) {
					if r.View == phantom.RvInflow {
						r.View = phantom.SubcostalLong
					}
				}
			},
		},
		{
			kind: "jet-no-view", text: "Tricuspid velocities without the view they come from.",
			profile: "healthy-young", dialect: "oldbarrow", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-view-noted"},
			also:  []string{"tricuspid-valve/peak-velocity-from-two-views"},
			seed: func(c *phantom.Record) {
				for _, r := range c.Find(phantom.JetVelocity) {
					r.View = ""
				}
			},
		},
	}
}

// jetFaults are about its value and the pressure made of it.
func jetFaults() []fault {
	return []fault{
		{
			kind: "jet-views-disagree", text: "One view reads the tricuspid velocity a third lower than the other.",
			profile: "tricuspid-regurgitation-severe", dialect: "gullmere", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-windows-agree"},
			seed: func(c *phantom.Record) {
				for _, r := range c.Find(phantom.JetVelocity) {
					if !r.Chosen {
						r.Set(c.Heart.Jet * 0.68)
						return
					}
				}
			},
		},
		{
			kind: "jet-lower-selected", text: "A lower tricuspid velocity is selected although a higher one was measured.",
			profile: "pulmonary-hypertension", dialect: "petrelline", outcome: "fail", measurand: phantom.JetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-highest-counts"},
			seed: func(c *phantom.Record) {
				low := c.Heart.Jet * 0.915
				for _, r := range c.Find(phantom.JetVelocity) {
					r.Chosen = !r.Chosen
					if r.Chosen {
						r.Set(low)
					}
				}
				c.One("tricuspid-regurgitation-peak-gradient").Set(phantom.Gradient(low))
				c.Rvsp(low, c.Heart.AtrialPressure)
			},
		},
		{
			kind: "pressure-other-atrial", text: "Right ventricular pressure computed with another atrial pressure than the one stated.",
			profile: "tricuspid-regurgitation-moderate", dialect: "oldbarrow", outcome: "fail", measurand: "right-ventricular-systolic-pressure",
			rules: []string{"tricuspid-valve/rv-systolic-pressure-from-velocity"},
			seed:  func(c *phantom.Record) { c.Rvsp(c.Heart.Jet, 15) },
		},
		{
			kind: "pressure-without-atrial", text: "Atrial pressure was left out of the right ventricular pressure.",
			profile: "tricuspid-regurgitation-severe", dialect: "petrelline", outcome: "fail", measurand: "right-ventricular-systolic-pressure",
			rules: []string{"tricuspid-valve/rv-systolic-pressure-from-velocity"},
			seed:  func(c *phantom.Record) { c.Rvsp(c.Heart.Jet, 0) },
		},
		{
			kind: "gradient-typed", text: "Tricuspid gradient does not belong to its velocity.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-regurgitation-peak-gradient",
			rules: []string{"tricuspid-valve/regurgitation-gradient-from-velocity"},
			seed: func(c *phantom.Record) {
				c.One("tricuspid-regurgitation-peak-gradient").Set(phantom.Gradient(c.Heart.Jet) + 9)
			},
		},
	}
}

// gradeFaults are about the grade of the regurgitation and the leaflets.
func gradeFaults() []fault {
	return []fault{
		{
			kind: "grade-two-tiers-off", text: "Called mild, but the effective regurgitant orifice is that of severe regurgitation.",
			profile: "tricuspid-regurgitation-severe", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-regurgitation-effective-orifice-area",
			rules: []string{"tricuspid-valve/grade-against-orifice-area"},
			also: []string{
				"tricuspid-valve/grade-against-hepatic-vein-flow", "tricuspid-valve/grade-against-vena-contracta",
				"tricuspid-valve/grade-against-regurgitant-volume", "tricuspid-valve/inflow-below-mitral",
			},
			seed: func(c *phantom.Record) {
				c.Reword("tricuspid", "Mild tricuspid regurgitation, central jet.")
				c.Reword("summary", "Mild tricuspid regurgitation.")
			},
		},
		{
			kind: "radius-unit-slip", text: "PISA radius in millimetres stored under centimetres.",
			profile: "tricuspid-regurgitation-severe", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-regurgitation-pisa-radius",
			rules: []string{"tricuspid-valve/orifice-area-from-pisa", "tricuspid-valve/pisa-radius-plausible"},
			seed:  func(c *phantom.Record) { c.One("tricuspid-regurgitation-pisa-radius").Scale = 10 },
		},
		{
			kind: "leaflet-not-in-view", text: "A leaflet is named that the view cannot show.",
			profile: "tricuspid-regurgitation-moderate", dialect: "gullmere", outcome: "fail",
			rules: []string{"tricuspid-valve/leaflet-fits-view"},
			seed: func(c *phantom.Record) {
				c.Add(phantom.Remark{Section: phantom.TricuspidValve, Text: "Right ventricular inflow-outflow view: prolapse of the septal leaflet of the tricuspid valve."})
			},
		},
		{
			kind: "leaflet-ambiguous", text: "A leaflet is named from a view that leaves it open.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "review",
			rules: []string{"tricuspid-valve/leaflet-fits-view"},
			seed: func(c *phantom.Record) {
				c.Add(phantom.Remark{Section: phantom.TricuspidValve, Text: "Apical four-chamber view: prolapse of the posterior leaflet of the tricuspid valve."})
			},
		},
		{
			kind: "hepatic-vein-missing", text: "Severe tricuspid regurgitation without hepatic vein flow.",
			profile: "tricuspid-regurgitation-severe", dialect: "oldbarrow", outcome: "fail", measurand: "hepatic-vein-systolic-velocity",
			rules: []string{"tricuspid-valve/hepatic-vein-flow-recorded"},
			seed: func(c *phantom.Record) {
				c.Remove("hepatic-vein-systolic-velocity", "hepatic-vein-diastolic-velocity")
				c.Reword("hepatic", "")
			},
		},
	}
}

// inflowFaults are about tricuspid filling.
func inflowFaults() []fault {
	return []fault{
		{
			kind: "a-wave-in-fibrillation", text: "Atrial waves and ratios measured in atrial fibrillation.",
			profile: "atrial-fibrillation", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-a-wave-velocity",
			rules: []string{"tricuspid-valve/a-wave-needs-sinus-rhythm"},
			seed: func(c *phantom.Record) {
				t := phantom.Taker{Record: c}
				t.Take("tricuspid-valve-a-wave-velocity", c.Heart.TricuspidE/1.3)
				t.Derive("tricuspid-valve-e-to-a-ratio", 1.3)
			},
		},
		{
			kind: "phases-swapped", text: "Inspiration and expiration of the tricuspid inflow are exchanged.",
			profile: "healthy-middle", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"tricuspid-valve/inflow-rises-in-inspiration"},
			seed:  exchangePhases,
		},
		{
			kind: "inflow-valves-swapped", text: "Tricuspid inflow far above the mitral: the valves were exchanged.",
			profile: "healthy-young", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"tricuspid-valve/inflow-below-mitral"},
			seed: func(c *phantom.Record) {
				factor := 1.7 * c.Heart.MitralE / c.Heart.TricuspidE
				for _, m := range []string{"tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity"} {
					for _, r := range c.Find(m) {
						r.Set(r.Value() * factor)
					}
				}
			},
		},
		{
			kind: "tips-not-noted", text: "The sample position of the tricuspid inflow is not noted.",
			profile: "healthy-middle", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"tricuspid-valve/inflow-sample-at-leaflet-tips"},
			seed:  func(c *phantom.Record) { c.Reword("tips", "") },
		},
		{
			kind: "breathing-not-noted", text: "Tricuspid inflow without a respiratory phase and from one beat.",
			profile: "poor-windows", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"tricuspid-valve/inflow-respiratory-phase"},
			seed: func(c *phantom.Record) {
				c.Remove("tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity", "tricuspid-valve-e-to-a-ratio")
				c.Reword("breathing", "")
				t := phantom.Taker{Record: c}
				t.Take("tricuspid-valve-e-wave-velocity", c.Heart.TricuspidE)
				t.Take("tricuspid-valve-a-wave-velocity", c.Heart.TricuspidA)
				t.Derive("tricuspid-valve-e-to-a-ratio", c.Heart.TricuspidE/c.Heart.TricuspidA)
			},
		},
	}
}

func exchangePhases(c *phantom.Record) {
	for _, m := range []string{"tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity"} {
		for _, r := range c.Find(m) {
			if r.Respiration == phantom.Inspiration {
				r.Respiration = phantom.Expiration
			} else {
				r.Respiration = phantom.Inspiration
			}
		}
	}
}

// stenosisFaults are about the ratio of the waves and the set for stenosis.
func stenosisFaults() []fault {
	return []fault{
		{
			kind: "tricuspid-ratio-typed", text: "Tricuspid E/A does not belong to its waves.",
			profile: "healthy-young", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-valve-e-to-a-ratio",
			rules: []string{"tricuspid-valve/e-to-a-from-waves"},
			seed:  func(c *phantom.Record) { c.One("tricuspid-valve-e-to-a-ratio").Set(2.6) },
		},
		{
			kind: "half-time-area-of-mitral", text: "Tricuspid area computed with the mitral constant 220.",
			profile: "tricuspid-stenosis", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-area-pressure-half-time",
			rules: []string{"tricuspid-valve/area-from-half-time"},
			seed: func(c *phantom.Record) {
				c.One("tricuspid-valve-area-pressure-half-time").Set(220 / c.Heart.TricuspidHalfTime)
			},
		},
		{
			kind: "stenosis-without-gradient", text: "Tricuspid stenosis without a mean gradient.",
			profile: "tricuspid-stenosis", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-valve-mean-gradient",
			rules: []string{"tricuspid-valve/stenosis-mean-gradient-present"},
			seed:  func(c *phantom.Record) { c.Remove("tricuspid-valve-mean-gradient") },
		},
	}
}
