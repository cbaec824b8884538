package demo

// rvsp gives the record the pressure that belongs to a velocity.
func (c *record) rvsp(velocity, atrial float64) {
	if c.has("right-ventricular-systolic-pressure") {
		c.one("right-ventricular-systolic-pressure").set(gradient(velocity) + atrial)
	}
}

// viewFaults are about the views of the tricuspid regurgitation velocity.
func viewFaults() []fault {
	return []fault{
		{
			kind: "jet-missing", text: "Tricuspid velocity and pressure are missing and no reason is given.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: jetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-or-reason"},
			seed: func(c *record) {
				c.remove(jetVelocity, "tricuspid-regurgitation-peak-gradient", "right-ventricular-systolic-pressure")
			},
		},
		{
			kind: "jet-one-view", text: "Tricuspid velocity from the apical view only.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: jetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-from-two-views"},
			seed:  func(c *record) { c.keepJet(apicalFour) },
		},
		{
			kind: "jet-one-view", text: "Tricuspid velocity from the apical view only.",
			profile: "pulmonary-hypertension", dialect: "oldbarrow", outcome: "fail", measurand: jetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-from-two-views"},
			seed:  func(c *record) { c.keepJet(apicalFour) },
		},
		{
			kind: "jet-eccentric-apical", text: "Eccentric jet, not measured from the right ventricular inflow view.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "fail", measurand: jetVelocity,
			rules: []string{"tricuspid-valve/inflow-view-with-eccentric-jet"},
			seed: func(c *record) {
				c.reword("tricuspid", "Moderate tricuspid regurgitation. Eccentric TR jet towards the septum.")
				for _, r := range c.find(jetVelocity) {
					if r.view == rvInflow {
						r.view = subcostalLong
					}
				}
			},
		},
		{
			kind: "jet-no-view", text: "Tricuspid velocities without the view they come from.",
			profile: "healthy-young", dialect: "oldbarrow", outcome: "fail", measurand: jetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-view-noted"},
			also:  []string{"tricuspid-valve/peak-velocity-from-two-views"},
			seed: func(c *record) {
				for _, r := range c.find(jetVelocity) {
					r.view = ""
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
			profile: "tricuspid-regurgitation-severe", dialect: "gullmere", outcome: "fail", measurand: jetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-windows-agree"},
			seed: func(c *record) {
				for _, r := range c.find(jetVelocity) {
					if !r.chosen {
						r.set(c.heart.jet * 0.68)
						return
					}
				}
			},
		},
		{
			kind: "jet-lower-selected", text: "A lower tricuspid velocity is selected although a higher one was measured.",
			profile: "pulmonary-hypertension", dialect: "petrelline", outcome: "fail", measurand: jetVelocity,
			rules: []string{"tricuspid-valve/peak-velocity-highest-counts"},
			seed: func(c *record) {
				low := c.heart.jet * 0.915
				for _, r := range c.find(jetVelocity) {
					r.chosen = !r.chosen
					if r.chosen {
						r.set(low)
					}
				}
				c.one("tricuspid-regurgitation-peak-gradient").set(gradient(low))
				c.rvsp(low, c.heart.atrialPressure)
			},
		},
		{
			kind: "pressure-other-atrial", text: "Right ventricular pressure computed with another atrial pressure than the one stated.",
			profile: "tricuspid-regurgitation-moderate", dialect: "oldbarrow", outcome: "fail", measurand: "right-ventricular-systolic-pressure",
			rules: []string{"tricuspid-valve/rv-systolic-pressure-from-velocity"},
			seed:  func(c *record) { c.rvsp(c.heart.jet, 15) },
		},
		{
			kind: "pressure-without-atrial", text: "Atrial pressure was left out of the right ventricular pressure.",
			profile: "tricuspid-regurgitation-severe", dialect: "petrelline", outcome: "fail", measurand: "right-ventricular-systolic-pressure",
			rules: []string{"tricuspid-valve/rv-systolic-pressure-from-velocity"},
			seed:  func(c *record) { c.rvsp(c.heart.jet, 0) },
		},
		{
			kind: "gradient-typed", text: "Tricuspid gradient does not belong to its velocity.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-regurgitation-peak-gradient",
			rules: []string{"tricuspid-valve/regurgitation-gradient-from-velocity"},
			seed:  func(c *record) { c.one("tricuspid-regurgitation-peak-gradient").set(gradient(c.heart.jet) + 9) },
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
			seed: func(c *record) {
				c.reword("tricuspid", "Mild tricuspid regurgitation, central jet.")
				c.reword("summary", "Mild tricuspid regurgitation.")
			},
		},
		{
			kind: "radius-unit-slip", text: "PISA radius in millimetres stored under centimetres.",
			profile: "tricuspid-regurgitation-severe", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-regurgitation-pisa-radius",
			rules: []string{"tricuspid-valve/orifice-area-from-pisa", "tricuspid-valve/pisa-radius-plausible"},
			seed:  func(c *record) { c.one("tricuspid-regurgitation-pisa-radius").scale = 10 },
		},
		{
			kind: "leaflet-not-in-view", text: "A leaflet is named that the view cannot show.",
			profile: "tricuspid-regurgitation-moderate", dialect: "gullmere", outcome: "fail",
			rules: []string{"tricuspid-valve/leaflet-fits-view"},
			seed: func(c *record) {
				c.add(remark{section: tricuspidValve, text: "Right ventricular inflow-outflow view: prolapse of the septal leaflet of the tricuspid valve."})
			},
		},
		{
			kind: "leaflet-ambiguous", text: "A leaflet is named from a view that leaves it open.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "review",
			rules: []string{"tricuspid-valve/leaflet-fits-view"},
			seed: func(c *record) {
				c.add(remark{section: tricuspidValve, text: "Apical four-chamber view: prolapse of the posterior leaflet of the tricuspid valve."})
			},
		},
		{
			kind: "hepatic-vein-missing", text: "Severe tricuspid regurgitation without hepatic vein flow.",
			profile: "tricuspid-regurgitation-severe", dialect: "oldbarrow", outcome: "fail", measurand: "hepatic-vein-systolic-velocity",
			rules: []string{"tricuspid-valve/hepatic-vein-flow-recorded"},
			seed: func(c *record) {
				c.remove("hepatic-vein-systolic-velocity", "hepatic-vein-diastolic-velocity")
				c.reword("hepatic", "")
			},
		},
	}
}

// keepJet drops the jets of other views and lets the kept one stand for all.
func (c *record) keepJet(view term) {
	kept := c.readings[:0]
	for _, r := range c.readings {
		if r.quantity.measurand == jetVelocity {
			if r.view != view {
				continue
			}
			r.set(c.heart.jet)
			r.chosen = true
		}
		kept = append(kept, r)
	}
	c.readings = kept
}

func (c *record) add(r remark) { c.remarks = append(c.remarks, r) }

// inflowFaults are about tricuspid filling.
func inflowFaults() []fault {
	return []fault{
		{
			kind: "a-wave-in-fibrillation", text: "Atrial waves and ratios measured in atrial fibrillation.",
			profile: "atrial-fibrillation", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-a-wave-velocity",
			rules: []string{"tricuspid-valve/a-wave-needs-sinus-rhythm"},
			seed: func(c *record) {
				t := taker{record: c}
				t.take("tricuspid-valve-a-wave-velocity", c.heart.tricuspidE/1.3)
				t.derive("tricuspid-valve-e-to-a-ratio", 1.3)
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
			seed: func(c *record) {
				factor := 1.7 * c.heart.mitralE / c.heart.tricuspidE
				for _, m := range []string{"tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity"} {
					for _, r := range c.find(m) {
						r.set(r.value() * factor)
					}
				}
			},
		},
		{
			kind: "tips-not-noted", text: "The sample position of the tricuspid inflow is not noted.",
			profile: "healthy-middle", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"tricuspid-valve/inflow-sample-at-leaflet-tips"},
			seed:  func(c *record) { c.reword("tips", "") },
		},
		{
			kind: "breathing-not-noted", text: "Tricuspid inflow without a respiratory phase and from one beat.",
			profile: "poor-windows", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"tricuspid-valve/inflow-respiratory-phase"},
			seed: func(c *record) {
				c.remove("tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity", "tricuspid-valve-e-to-a-ratio")
				c.reword("breathing", "")
				t := taker{record: c}
				t.take("tricuspid-valve-e-wave-velocity", c.heart.tricuspidE)
				t.take("tricuspid-valve-a-wave-velocity", c.heart.tricuspidA)
				t.derive("tricuspid-valve-e-to-a-ratio", c.heart.tricuspidE/c.heart.tricuspidA)
			},
		},
	}
}

func exchangePhases(c *record) {
	for _, m := range []string{"tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity"} {
		for _, r := range c.find(m) {
			if r.respiration == inspiration {
				r.respiration = expiration
			} else {
				r.respiration = inspiration
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
			seed:  func(c *record) { c.one("tricuspid-valve-e-to-a-ratio").set(2.6) },
		},
		{
			kind: "half-time-area-of-mitral", text: "Tricuspid area computed with the mitral constant 220.",
			profile: "tricuspid-stenosis", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-area-pressure-half-time",
			rules: []string{"tricuspid-valve/area-from-half-time"},
			seed:  func(c *record) { c.one("tricuspid-valve-area-pressure-half-time").set(220 / c.heart.tricuspidHalfTime) },
		},
		{
			kind: "stenosis-without-gradient", text: "Tricuspid stenosis without a mean gradient.",
			profile: "tricuspid-stenosis", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-valve-mean-gradient",
			rules: []string{"tricuspid-valve/stenosis-mean-gradient-present"},
			seed:  func(c *record) { c.remove("tricuspid-valve-mean-gradient") },
		},
	}
}
