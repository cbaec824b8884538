package casebook

import (
	"math"
	"slices"

	"echotally/internal/phantom"
)

// laterFaults are faults of studies that stand behind all others.
func laterFaults() []fault {
	return slices.Concat(rightAgreementFaults(), leftAgreementFaults(), flowFaults(), typedFaults())
}

// rightAgreementFaults are values of the right heart by two ways that do not
// agree.
func rightAgreementFaults() []fault {
	return []fault{
		{
			kind: "area-change-contradicts", text: "The right ventricular areas were traced on the wrong frames: their change is low beside a good movement.",
			profile: "healthy-young", dialect: "gullmere", outcome: "fail", measurand: "right-ventricular-fractional-area-change",
			rules: []string{"right-ventricle/area-change-fits-long-axis", "right-ventricle/function-word-fits-area-change"},
			seed: func(c *phantom.Record) {
				c.One("right-ventricular-area-systole").Set(0.8 * c.Value("right-ventricular-area-diastole"))
				c.One("right-ventricular-fractional-area-change").Set(20)
			},
		},
		{
			kind: "inflow-beside-the-flow", text: "The sample of the tricuspid inflow stood beside the flow.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-e-wave-velocity",
			rules: []string{"tricuspid-valve/inflow-not-far-below-mitral"},
			seed: func(c *phantom.Record) {
				factor := 0.25 * c.Heart.MitralE / c.Heart.TricuspidE
				for _, m := range []string{"tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity"} {
					for _, r := range c.Find(m) {
						r.Set(r.Value() * factor)
					}
				}
				c.Remove("tricuspid-valve-mean-gradient", "tricuspid-valve-peak-gradient")
			},
		},
		{
			kind: "jet-traced-over-two-beats", text: "The integral of the tricuspid jet was traced over two beats.",
			profile: "tricuspid-regurgitation-moderate", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-regurgitation-velocity-time-integral",
			rules: []string{"tricuspid-valve/jet-integral-fits-duration"},
			also:  []string{"tricuspid-valve/regurgitant-volume-from-orifice-area"},
			seed: func(c *phantom.Record) {
				c.One("tricuspid-regurgitation-velocity-time-integral").Scale = 2
			},
		},
		{
			kind: "annulus-two-diameters", text: "The tricuspid annulus was measured across two different diameters.",
			profile: "healthy-older", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-annulus-diameter-systole",
			rules: []string{"tricuspid-valve/annulus-shortening-usual"},
			seed: func(c *phantom.Record) {
				phantom.Taker{Record: c}.Take("tricuspid-annulus-diameter-systole", 0.55*c.Value("tricuspid-annulus-diameter-diastole"))
			},
		},
		{
			kind: "pulmonary-regurgitation-cut", text: "The early velocity of the pulmonary leak was read off a cut spectrum.",
			profile: "pulmonary-hypertension", dialect: "gullmere", outcome: "fail", measurand: "pulmonary-regurgitation-peak-velocity",
			rules: []string{"pulmonary-artery/mean-pressure-by-regurgitation-agrees"},
			seed: func(c *phantom.Record) {
				c.One("pulmonary-regurgitation-peak-velocity").Scale = 0.5
				c.One("pulmonary-regurgitation-end-diastolic-velocity").Scale = 0.5
			},
		},
		{
			kind: "atrial-pressure-low-with-high-ratio", text: "A low atrial pressure although the tricuspid E is many times e' and the vena cava is wide.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail", measurand: "tricuspid-annular-velocity-e-prime",
			rules: []string{"right-atrium/pressure-fits-inflow-ratio"},
			also:  []string{"right-atrium/rap-fits-ivc"},
			seed:  wideCavaBesideHighRatio,
		},
	}
}

// wideCavaBesideHighRatio seeds a tricuspid ratio that speaks for a high atrial
// pressure beside a vena cava that does not plainly speak for a low one.
func wideCavaBesideHighRatio(c *phantom.Record) {
	c.One("tricuspid-annular-velocity-e-prime").Set(4.2)
	c.One(phantom.CavaWide).Set(2.4)
	c.One(phantom.CavaNarrow).Set(0.96)
	c.One("inferior-vena-cava-collapse").Set(60)
}

// leftAgreementFaults are values of the left heart by two ways that do not
// agree.
func leftAgreementFaults() []fault {
	return []fault{
		{
			kind: "cube-fraction-typed", text: "Ejection fraction by the cube formula does not belong to its dimensions.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: "left-ventricular-ejection-fraction-cube",
			rules: []string{"left-ventricle/cube-ejection-fraction-from-dimensions"},
			seed: func(c *phantom.Record) {
				phantom.Taker{Record: c}.Derive("left-ventricular-ejection-fraction-cube", 48)
			},
		},
		{
			kind: "mitral-areas-apart", text: "Mitral valve area by outline and by continuity lie far apart.",
			profile: "healthy-middle", dialect: "gullmere", outcome: "fail", measurand: "mitral-valve-area-continuity",
			rules: []string{"mitral-valve/area-methods-agree"},
			seed: func(c *phantom.Record) {
				phantom.Taker{Record: c}.Take("mitral-valve-area-planimetry", 4.4)
				phantom.Taker{Record: c}.Take("mitral-valve-area-continuity", 3.2)
			},
		},
		{
			kind: "aortic-fraction-overstated", text: "A large aortic regurgitant fraction beside a small ventricle.",
			profile: "healthy-young", dialect: "petrelline", outcome: "fail", measurand: "aortic-regurgitation-fraction",
			rules:  []string{"aortic-valve/large-fraction-fits-ventricle"},
			also:   []string{"aortic-valve/regurgitation-quantified"},
			before: func(s *phantom.Subject) { s.Sex = "M" },
			seed:   func(c *phantom.Record) { phantom.Taker{Record: c}.Take("aortic-regurgitation-fraction", 62) },
		},
	}
}

// flowFaults are flows and fractions that their own numbers do not give.
func flowFaults() []fault {
	return []fault{
		{
			kind: "outflow-traced-over-two-beats", text: "The integral of the right outflow was traced over two beats.",
			profile: "healthy-young", dialect: "oldbarrow", outcome: "fail", measurand: "rvot-velocity-time-integral",
			rules: []string{"right-ventricle/outflow-integral-fits-velocity"},
			seed:  func(c *phantom.Record) { c.One("rvot-velocity-time-integral").Scale = 2 },
		},
		{
			kind: "half-time-left-out", text: "Tricuspid area by half-time without the half-time and the deceleration time.",
			profile: "tricuspid-stenosis", dialect: "petrelline", outcome: "fail", measurand: "tricuspid-valve-area-pressure-half-time",
			rules: []string{"tricuspid-valve/half-time-area-has-half-time"},
			also:  []string{"tricuspid-valve/stenosis-half-time-present"},
			seed: func(c *phantom.Record) {
				c.Remove("tricuspid-valve-pressure-half-time", "tricuspid-valve-deceleration-time")
			},
		},
		{
			kind: "tricuspid-fraction-typed", text: "Tricuspid regurgitant fraction does not belong to its volumes.",
			profile: "tricuspid-regurgitation-moderate", dialect: "gullmere", outcome: "fail", measurand: "tricuspid-regurgitation-fraction",
			rules: []string{"tricuspid-valve/regurgitant-fraction-from-volumes"},
			also:  []string{"tricuspid-valve/grade-against-fraction"},
			seed:  func(c *phantom.Record) { phantom.Taker{Record: c}.Take("tricuspid-regurgitation-fraction", 88) },
		},
		{
			kind: "fraction-over-forward-flow", text: "Mitral regurgitant fraction over the forward flow instead of the total.",
			profile: "mitral-regurgitation", dialect: "petrelline", outcome: "fail", measurand: "mitral-regurgitation-fraction",
			rules: []string{"mitral-valve/regurgitant-fraction-from-volumes"},
			also:  []string{"mitral-valve/regurgitation-grade-against-fraction"},
			seed: func(c *phantom.Record) {
				phantom.Taker{Record: c}.Take("mitral-regurgitation-fraction", 100*c.Value("mitral-regurgitation-volume")/c.Value("stroke-volume-lvot"))
			},
		},
	}
}

// typedFaults are derived values typed by hand, a third above what their
// inputs give.
func typedFaults() []fault {
	typed := func(measurand, rule string, value func(*phantom.Record) float64, also ...string) fault {
		return fault{
			kind: measurand + "-typed", text: phantom.QuantityOf(measurand).Label + " does not belong to the numbers it is made of.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: measurand, rules: []string{rule}, also: also,
			seed: func(c *phantom.Record) { phantom.Taker{Record: c}.Derive(measurand, 1.33*value(c)) },
		}
	}
	circle := func(d float64) float64 { return math.Pi / 4 * d * d }
	return []fault{
		typed("stroke-volume-biplane", "left-ventricle/biplane-stroke-volume-from-volumes", func(c *phantom.Record) float64 {
			return c.Value("left-ventricular-end-diastolic-volume-biplane") - c.Value("left-ventricular-end-systolic-volume-biplane")
		}),
		typed("septum-to-posterior-wall-ratio", "left-ventricle/septum-to-wall-ratio-from-walls", func(c *phantom.Record) float64 {
			return c.Value("interventricular-septum-thickness-diastole") / c.Value("left-ventricular-posterior-wall-thickness-diastole")
		}),
		typed("rvot-peak-gradient", "right-ventricle/outflow-gradient-from-velocity", func(c *phantom.Record) float64 {
			v := c.Value("rvot-peak-velocity")
			return 2 * 4 * v * v
		}),
		typed("rvot-area", "right-ventricle/outflow-area-from-diameter", func(c *phantom.Record) float64 {
			return circle(c.Value("rvot-diameter-distal"))
		}),
		typed("tricuspid-e-to-e-prime-ratio", "tricuspid-valve/e-over-e-prime-from-velocities", func(c *phantom.Record) float64 {
			return 100 * c.Value("tricuspid-valve-e-wave-velocity") / c.Value("tricuspid-annular-velocity-e-prime")
		}),
	}
}
