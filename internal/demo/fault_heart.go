package demo

// rightHeartFaults are about the right ventricle.
func rightHeartFaults() []fault {
	return []fault{
		{
			kind: "tapse-missing", text: "TAPSE is missing.",
			profile: "pulmonary-hypertension", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-annular-plane-systolic-excursion",
			rules: []string{"right-ventricle/tapse-present"},
			seed:  func(c *record) { c.remove("tricuspid-annular-plane-systolic-excursion") },
		},
		{
			kind: "tapse-unit-slip", text: "TAPSE in centimetres stored under millimetres.",
			profile: "healthy-middle", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-annular-plane-systolic-excursion",
			rules: []string{"right-ventricle/function-indices-agree"},
			also:  []string{"right-ventricle/function-word-fits-numbers", "right-ventricle/tapse-fits-s-prime"},
			seed:  func(c *record) { c.one("tricuspid-annular-plane-systolic-excursion").scale = 0.1 },
		},
		{
			kind: "tapse-wrong-unit", text: "TAPSE with the unit of an area.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-annular-plane-systolic-excursion",
			rules: []string{"units/unit-fits-measurand"},
			also:  []string{"right-ventricle/tapse-present"},
			seed: func(c *record) {
				unit := ucumCode("cm2")
				c.one("tricuspid-annular-plane-systolic-excursion").unit = &unit
			},
		},
		{
			kind: "areas-swapped", text: "Diastolic and systolic area of the right ventricle are exchanged.",
			profile: "healthy-young", dialect: "gullmere", outcome: "fail", measurand: "right-ventricular-area-systole",
			rules: []string{"right-ventricle/area-smaller-in-systole"},
			also:  []string{"right-ventricle/fractional-area-change-from-areas"},
			seed: func(c *record) {
				c.one("right-ventricular-area-diastole").set(c.heart.rightSystolic)
				c.one("right-ventricular-area-systole").set(c.heart.rightDiastolic)
			},
		},
		{
			kind: "fractional-area-typed", text: "Fractional area change does not belong to its areas.",
			profile: "pulmonary-hypertension", dialect: "gullmere", outcome: "fail", measurand: "right-ventricular-fractional-area-change",
			rules: []string{"right-ventricle/fractional-area-change-from-areas"},
			seed: func(c *record) {
				r := c.one("right-ventricular-fractional-area-change")
				r.set(r.value() + 12)
			},
		},
		{
			kind: "performance-index-typed", text: "Right ventricular performance index does not belong to its times.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "fail", measurand: "right-ventricular-performance-index",
			rules: []string{"right-ventricle/performance-index-from-times"},
			seed:  func(c *record) { c.one("right-ventricular-performance-index").set(0.62) },
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
			seed: func(c *record) {
				c.one("right-atrial-pressure").set(3)
				c.rvsp(c.heart.jet, 3)
			},
		},
		{
			kind: "collapse-wrong", text: "Collapse of the vena cava does not belong to its diameters.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: "inferior-vena-cava-collapse",
			rules: []string{"right-atrium/ivc-collapse-from-diameters"},
			seed: func(c *record) {
				r := c.one("inferior-vena-cava-collapse")
				r.set(100 - 0.4*(100-r.value()))
			},
		},
		{
			kind: "cava-missing", text: "The vena cava was not measured and no reason is given.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail", measurand: "inferior-vena-cava-diameter-expiration",
			rules: []string{"right-atrium/ivc-size-present", "right-atrium/ivc-collapse-present"},
			seed: func(c *record) {
				c.remove("inferior-vena-cava-diameter-expiration", "inferior-vena-cava-diameter-inspiration", "inferior-vena-cava-collapse")
				c.reword("sniff", "")
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
			seed: func(c *record) {
				r := c.one("mitral-valve-e-to-a-ratio")
				r.set(r.value() * 0.6)
			},
		},
		{
			kind: "fraction-typed", text: "Ejection fraction does not belong to its volumes.",
			profile: "mitral-regurgitation", dialect: "petrelline", outcome: "fail", measurand: "left-ventricular-ejection-fraction-biplane",
			rules: []string{"left-ventricle/biplane-ejection-fraction-from-volumes"},
			seed: func(c *record) {
				r := c.one("left-ventricular-ejection-fraction-biplane")
				r.set(r.value() - 17)
			},
		},
		{
			kind: "volumes-swapped", text: "Diastolic and systolic volume of the left ventricle are exchanged.",
			profile: "healthy-older", dialect: "gullmere", outcome: "fail", measurand: "left-ventricular-end-systolic-volume-biplane",
			rules: []string{"left-ventricle/diastolic-volume-above-systolic"},
			also: []string{
				"left-ventricle/biplane-ejection-fraction-from-volumes", "left-ventricle/stroke-volume-fits-volumes",
			},
			seed: func(c *record) {
				c.exchange("left-ventricular-end-diastolic-volume-biplane", "left-ventricular-end-systolic-volume-biplane")
				c.exchange("left-ventricular-end-diastolic-volume-index", "left-ventricular-end-systolic-volume-index")
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
			seed: func(c *record) {
				c.one("aortic-valve-mean-gradient").set(1.15 * gradient(c.heart.aorticVelocity))
			},
		},
		{
			kind: "aortic-gradient-typed", text: "Peak aortic gradient does not belong to its velocity.",
			profile: "aortic-stenosis", dialect: "oldbarrow", outcome: "fail", measurand: "aortic-valve-peak-gradient",
			rules: []string{"aortic-valve/peak-gradient-from-velocity"},
			seed: func(c *record) {
				c.one("aortic-valve-peak-gradient").set(gradient(c.heart.aorticVelocity) + 21)
			},
		},
		{
			kind: "cavity-swapped", text: "Diastolic and systolic dimension of the left ventricle are exchanged.",
			profile: "mitral-regurgitation", dialect: "oldbarrow", outcome: "fail", measurand: "left-ventricular-internal-diameter-systole",
			rules: []string{"left-ventricle/diastolic-dimension-above-systolic"},
			also:  []string{"left-ventricle/fractional-shortening-from-dimensions", "left-ventricle/mass-from-dimensions"},
			seed: func(c *record) {
				c.one("left-ventricular-internal-diameter-diastole").set(c.heart.cavitySystolic)
				c.one("left-ventricular-internal-diameter-systole").set(c.heart.cavity)
			},
		},
		{
			kind: "surface-from-pounds", text: "Body surface area was computed with the weight in pounds.",
			profile: "healthy-middle", dialect: "gullmere", outcome: "fail", measurand: "body-surface-area",
			rules:  []string{"patient/body-surface-area-from-height-and-weight"},
			before: func(s *subject) { s.bodySurface = duBois(s.height, s.weight*2.2046) },
		},
	}
}

// recordFaults are about the record as such.
func recordFaults() []fault {
	failure := dcmCode("114006", "Measurement failure")
	return []fault{
		{
			kind: "unit-missing", text: "A diameter without a unit.",
			profile: "atrial-fibrillation", dialect: "gullmere", outcome: "fail", measurand: "lvot-diameter",
			rules: []string{"units/unit-understood"},
			seed:  func(c *record) { c.one("lvot-diameter").unitless = true },
		},
		{
			kind: "value-empty", text: "A measurement without a value and without a reason.",
			profile: "mitral-regurgitation", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-annular-velocity-s-prime",
			rules: []string{"document/empty-value-has-reason"},
			also:  []string{"right-ventricle/s-prime-present"},
			seed: func(c *record) {
				r := c.one("tricuspid-annular-velocity-s-prime")
				r.values, r.mean, r.empty = r.values[:1], false, true
			},
		},
		{
			kind: "value-failed", text: "A measurement that failed, with the reason recorded by the scanner.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "excused", measurand: "tricuspid-annular-velocity-s-prime",
			rules: []string{"right-ventricle/s-prime-present"},
			seed: func(c *record) {
				r := c.one("tricuspid-annular-velocity-s-prime")
				r.values, r.mean, r.empty, r.qualifier = r.values[:1], false, true, &failure
			},
		},
		{
			kind: "value-twice", text: "The same item was sent twice.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "duplicate", measurand: "left-ventricular-mass",
			seed: func(c *record) { c.one("left-ventricular-mass").copies = 1 },
		},
	}
}
