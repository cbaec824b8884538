package casebook

import "echotally/internal/phantom"

// rightHeartFaults are about the right ventricle.
func rightHeartFaults() []fault {
	return []fault{
		{
			kind: "tapse-missing", text: "TAPSE is missing.",
			profile: "pulmonary-hypertension", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-annular-plane-systolic-excursion",
			rules: []string{"right-ventricle/tapse-present"},
			seed:  func(c *phantom.Record) { c.Remove("tricuspid-annular-plane-systolic-excursion") },
		},
		{
			kind: "tapse-unit-slip", text: "TAPSE in centimetres stored under millimetres.",
			profile: "healthy-middle", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-annular-plane-systolic-excursion",
			rules: []string{"right-ventricle/function-indices-agree"},
			also:  []string{"right-ventricle/function-word-fits-numbers", "right-ventricle/tapse-fits-s-prime"},
			seed:  func(c *phantom.Record) { c.One("tricuspid-annular-plane-systolic-excursion").Scale = 0.1 },
		},
		{
			kind: "tapse-wrong-unit", text: "TAPSE with the unit of an area.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-annular-plane-systolic-excursion",
			rules: []string{"units/unit-fits-measurand"},
			also:  []string{"right-ventricle/tapse-present"},
			seed: func(c *phantom.Record) {
				unit := phantom.UcumCode("cm2")
				c.One("tricuspid-annular-plane-systolic-excursion").Unit = &unit
			},
		},
		{
			kind: "areas-swapped", text: "Diastolic and systolic area of the right ventricle are exchanged.",
			profile: "healthy-young", dialect: "gullmere", outcome: "fail", measurand: "right-ventricular-area-systole",
			rules: []string{"right-ventricle/area-smaller-in-systole"},
			also:  []string{"right-ventricle/fractional-area-change-from-areas"},
			seed: func(c *phantom.Record) {
				c.One("right-ventricular-area-diastole").Set(c.Heart.RightSystolic)
				c.One("right-ventricular-area-systole").Set(c.Heart.RightDiastolic)
			},
		},
		{
			kind: "fractional-area-typed", text: "Fractional area change does not belong to its areas.",
			profile: "pulmonary-hypertension", dialect: "gullmere", outcome: "fail", measurand: "right-ventricular-fractional-area-change",
			rules: []string{"right-ventricle/fractional-area-change-from-areas"},
			seed: func(c *phantom.Record) {
				r := c.One("right-ventricular-fractional-area-change")
				r.Set(r.Value() + 12)
			},
		},
		{
			kind: "performance-index-typed", text: "Right ventricular performance index does not belong to its times.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "fail", measurand: "right-ventricular-performance-index",
			rules: []string{"right-ventricle/performance-index-from-times"},
			seed:  func(c *phantom.Record) { c.One("right-ventricular-performance-index").Set(0.62) },
		},
	}
}

// atrialFaults are about the right atrium and the vena cava.
func atrialFaults() []fault {
	return []fault{
		{
			kind: "atrial-pressure-default", text: "Atrial pressure 3 mmHg with a wide vena cava that hardly collapses.",
			profile: "tricuspid-regurgitation-severe", dialect: "gullmere", outcome: "fail", measurand: "right-atrial-pressure",
			rules: []string{"right-atrium/rap-fits-ivc"},
			seed: func(c *phantom.Record) {
				c.One("right-atrial-pressure").Set(3)
				c.Rvsp(c.Heart.Jet, 3)
			},
		},
		{
			kind: "collapse-wrong", text: "Collapse of the vena cava does not belong to its diameters.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: "inferior-vena-cava-collapse",
			rules: []string{"right-atrium/ivc-collapse-from-diameters"},
			seed: func(c *phantom.Record) {
				r := c.One("inferior-vena-cava-collapse")
				r.Set(100 - 0.4*(100-r.Value()))
			},
		},
		{
			kind: "cava-missing", text: "The vena cava was not measured and no reason is given.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail", measurand: "inferior-vena-cava-diameter-expiration",
			rules: []string{"right-atrium/ivc-size-present", "right-atrium/ivc-collapse-present"},
			seed: func(c *phantom.Record) {
				c.Remove("inferior-vena-cava-diameter-expiration", "inferior-vena-cava-diameter-inspiration", "inferior-vena-cava-collapse")
				c.Reword("sniff", "")
			},
		},
	}
}

// leftHeartFaults are about mitral filling and the left ventricle's volumes.
func leftHeartFaults() []fault {
	return []fault{
		{
			kind: "ratio-typed", text: "Mitral E/A does not belong to its waves.",
			profile: "healthy-young", dialect: "gullmere", outcome: "fail", measurand: "mitral-valve-e-to-a-ratio",
			rules: []string{"mitral-valve/e-to-a-from-waves"},
			seed: func(c *phantom.Record) {
				r := c.One("mitral-valve-e-to-a-ratio")
				r.Set(r.Value() * 0.6)
			},
		},
		{
			kind: "fraction-typed", text: "Ejection fraction does not belong to its volumes.",
			profile: "mitral-regurgitation", dialect: "petrelline", outcome: "fail", measurand: "left-ventricular-ejection-fraction-biplane",
			rules: []string{"left-ventricle/biplane-ejection-fraction-from-volumes"},
			seed: func(c *phantom.Record) {
				r := c.One("left-ventricular-ejection-fraction-biplane")
				r.Set(r.Value() - 17)
			},
		},
		{
			kind: "volumes-swapped", text: "Diastolic and systolic volume of the left ventricle are exchanged.",
			profile: "healthy-older", dialect: "gullmere", outcome: "fail", measurand: "left-ventricular-end-systolic-volume-biplane",
			rules: []string{"left-ventricle/diastolic-volume-above-systolic"},
			also: []string{
				"left-ventricle/biplane-ejection-fraction-from-volumes", "left-ventricle/stroke-volume-fits-volumes",
			},
			seed: func(c *phantom.Record) {
				c.Exchange("left-ventricular-end-diastolic-volume-biplane", "left-ventricular-end-systolic-volume-biplane")
				c.Exchange("left-ventricular-end-diastolic-volume-index", "left-ventricular-end-systolic-volume-index")
			},
		},
	}
}

// valveAndBodyFaults are about the aortic valve, the cavity and the body.
func valveAndBodyFaults() []fault {
	return []fault{
		{
			kind: "mean-above-peak", text: "Mean aortic gradient above the peak gradient.",
			profile: "aortic-stenosis", dialect: "petrelline", outcome: "fail", measurand: "aortic-valve-mean-gradient",
			rules: []string{"aortic-valve/mean-below-peak-gradient"},
			seed: func(c *phantom.Record) {
				c.One("aortic-valve-mean-gradient").Set(1.15 * phantom.Gradient(c.Heart.AorticVelocity))
			},
		},
		{
			kind: "aortic-gradient-typed", text: "Peak aortic gradient does not belong to its velocity.",
			profile: "aortic-stenosis", dialect: "oldbarrow", outcome: "fail", measurand: "aortic-valve-peak-gradient",
			rules: []string{"aortic-valve/peak-gradient-from-velocity"},
			seed: func(c *phantom.Record) {
				c.One("aortic-valve-peak-gradient").Set(phantom.Gradient(c.Heart.AorticVelocity) + 21)
			},
		},
		{
			kind: "cavity-swapped", text: "Diastolic and systolic dimension of the left ventricle are exchanged.",
			profile: "mitral-regurgitation", dialect: "oldbarrow", outcome: "fail", measurand: "left-ventricular-internal-diameter-systole",
			rules: []string{"left-ventricle/diastolic-dimension-above-systolic"},
			also:  []string{"left-ventricle/fractional-shortening-from-dimensions", "left-ventricle/mass-from-dimensions"},
			seed: func(c *phantom.Record) {
				c.One("left-ventricular-internal-diameter-diastole").Set(c.Heart.CavitySystolic)
				c.One("left-ventricular-internal-diameter-systole").Set(c.Heart.Cavity)
			},
		},
		{
			kind: "surface-from-pounds", text: "Body surface area was computed with the weight in pounds.",
			profile: "healthy-middle", dialect: "gullmere", outcome: "fail", measurand: "body-surface-area",
			rules:  []string{"patient/body-surface-area-from-height-and-weight"},
			before: func(s *phantom.Subject) { s.BodySurface = phantom.DuBois(s.Height, s.Weight*2.2046) },
		},
	}
}

// recordFaults are about the record as such.
func recordFaults() []fault {
	failure := phantom.DcmCode("114006", "Measurement failure")
	return []fault{
		{
			kind: "unit-missing", text: "A diameter without a unit.",
			profile: "atrial-fibrillation", dialect: "gullmere", outcome: "fail", measurand: "lvot-diameter",
			rules: []string{"units/unit-understood"},
			also:  []string{"left-ventricular-outflow-tract/stroke-volume-has-its-parts", "aortic-valve/area-has-its-parts"},
			seed:  func(c *phantom.Record) { c.One("lvot-diameter").Unitless = true },
		},
		{
			kind: "value-empty", text: "A measurement without a value and without a reason.",
			profile: "mitral-regurgitation", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-annular-velocity-s-prime",
			rules: []string{"document/empty-value-has-reason"},
			also:  []string{"right-ventricle/s-prime-present"},
			seed: func(c *phantom.Record) {
				r := c.One("tricuspid-annular-velocity-s-prime")
				r.Values, r.Mean, r.Empty = r.Values[:1], false, true
			},
		},
		{
			kind: "value-failed", text: "A measurement that failed, with the reason recorded by the scanner.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "excused", measurand: "tricuspid-annular-velocity-s-prime",
			rules: []string{"right-ventricle/s-prime-present"},
			seed: func(c *phantom.Record) {
				r := c.One("tricuspid-annular-velocity-s-prime")
				r.Values, r.Mean, r.Empty, r.Qualifier = r.Values[:1], false, true, &failure
			},
		},
		{
			kind: "value-twice", text: "The same item was sent twice.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "duplicate", measurand: "left-ventricular-mass",
			seed: func(c *phantom.Record) { c.One("left-ventricular-mass").Copies = 1 },
		},
	}
}
