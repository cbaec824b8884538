package demo

import (
	"math"
	"strconv"
)

// score is a z-score recorded beside a reading.
type score struct {
	z         float64
	authority string // by whose reference values, as the report says; "" when it does not
}

// regression is ln(y) = b0 + b1 s + b2 s² + b3 s³ with its mean square error:
// a diameter y in cm at a body surface area s in m2.
type regression struct{ b0, b1, b2, b3, mse float64 }

// pettersen holds the regressions of Pettersen et al. (J Am Soc Echocardiogr
// 2008;21:922-934), written out here like the other equations of the model.
var pettersen = map[string]regression{
	"left-ventricular-internal-diameter-diastole": {0.105, 2.859, -2.119, 0.552, 0.010},
	"left-ventricular-internal-diameter-systole":  {-0.371, 2.833, -2.081, 0.538, 0.016},
	"aortic-annulus-diameter":                     {-0.874, 2.708, -1.841, 0.452, 0.010},
	"aortic-root-diameter":                        {-0.500, 2.537, -1.707, 0.420, 0.012},
	"main-pulmonary-artery-diameter":              {-0.707, 2.746, -1.807, 0.424, 0.024},
}

func (k regression) mean(s float64) float64 { return k.b0 + k.b1*s + k.b2*s*s + k.b3*s*s*s }

// z is the z-score of a diameter.
func (k regression) z(y, s float64) float64 { return (math.Log(y) - k.mean(s)) / math.Sqrt(k.mse) }

// at is the diameter that has a z-score.
func (k regression) at(z, s float64) float64 { return math.Exp(k.mean(s) + z*math.Sqrt(k.mse)) }

// addScores lets the scanner send z-scores with the diameters it has values for.
func (c *record) addScores() {
	for _, r := range c.readings {
		if k, ok := pettersen[r.quantity.measurand]; ok {
			r.score = &score{k.z(r.value(), c.subject.bodySurface), "Pettersen 2008"}
		}
	}
}

// items writes the z-score to two decimals, as scanners show it, with its
// authority beside it (PS3.16 TID 311).
func (s *score) items() []item {
	if s == nil {
		return nil
	}
	one := ucumCode("1")
	out := []item{{
		relation: hasProperty, valueType: "NUM", name: dcmCode("121416", "Z-Score of measurement"),
		number: strconv.FormatFloat(s.z, 'f', 2, 64), unit: &one,
	}}
	if s.authority != "" {
		out = append(out, text(hasProperty, dcmCode("121406", "Reference Authority"), s.authority))
	}
	return out
}

// scoreFaults are wrong z-scores of a child.
func scoreFaults() []fault {
	const annulus, trunk = "aortic-annulus-diameter", "main-pulmonary-artery-diameter"
	judge := []string{"patient/z-score-from-its-table"}
	narrow := func(c *record, measurand string, z float64) *reading {
		r, k := c.one(measurand), pettersen[measurand]
		r.set(k.at(z, c.subject.bodySurface))
		r.score.z = z
		return r
	}
	return []fault{
		{
			kind: "z-score-sign", text: "A narrow aortic annulus has the z-score of a wide one: the minus sign is lost.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: annulus, rules: judge,
			seed: func(c *record) { narrow(c, annulus, -1.6).score.z = 1.6 },
		},
		{
			kind: "z-score-other-site", text: "The z-score of the pulmonary trunk was computed with the values of the aortic annulus.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: trunk, rules: judge,
			seed: func(c *record) {
				r := c.one(trunk)
				r.score.z = pettersen[annulus].z(r.value(), c.subject.bodySurface)
			},
		},
		{
			kind: "z-score-exchanged-size", text: "The z-scores were computed with height and weight exchanged.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: annulus, rules: judge,
			seed: func(c *record) {
				wrong := haycock(c.subject.weight, c.subject.height)
				for measurand, k := range pettersen {
					r := c.one(measurand)
					r.score.z = k.z(r.value(), wrong)
				}
			},
		},
		{
			kind: "z-score-word", text: "The ventricle of a child is called dilated beside a z-score near zero.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: "left-ventricular-internal-diameter-diastole",
			rules: []string{"left-ventricle/size-word-fits-z-score"},
			seed: func(c *record) {
				c.remarks = append(c.remarks, remark{section: leftVentricle, topic: "left-ventricle", text: "Left ventricle mildly dilated."})
			},
		},
		{
			kind: "z-score-no-table", text: "A z-score that no table at hand gives does not say whose it is.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "review", measurand: annulus, rules: judge,
			also: []string{"patient/z-score-names-its-table"},
			seed: func(c *record) {
				r := c.one(annulus)
				r.score.z += 1.1
				r.score.authority = ""
			},
		},
	}
}
