package casebook

import "echotally/internal/phantom"

// scoreFaults are wrong z-scores of a child.
func scoreFaults() []fault {
	const annulus, trunk = "aortic-annulus-diameter", "main-pulmonary-artery-diameter"
	judge := []string{"patient/z-score-from-its-table"}
	narrow := func(c *phantom.Record, measurand string, z float64) *phantom.Reading {
		r, k := c.One(measurand), phantom.Pettersen[measurand]
		r.Set(k.At(z, c.Subject.BodySurface))
		r.Score.Z = z
		return r
	}
	return []fault{
		{
			kind: "z-score-sign", text: "A narrow aortic annulus has the z-score of a wide one: the minus sign is lost.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: annulus, rules: judge,
			seed: func(c *phantom.Record) { narrow(c, annulus, -1.6).Score.Z = 1.6 },
		},
		{
			kind: "z-score-other-site", text: "The z-score of the pulmonary trunk was computed with the values of the aortic annulus.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: trunk, rules: judge,
			seed: func(c *phantom.Record) {
				r := c.One(trunk)
				r.Score.Z = phantom.Pettersen[annulus].Z(r.Value(), c.Subject.BodySurface)
			},
		},
		{
			kind: "z-score-exchanged-size", text: "The z-scores were computed with height and weight exchanged.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: annulus, rules: judge,
			seed: func(c *phantom.Record) {
				wrong := phantom.Haycock(c.Subject.Weight, c.Subject.Height)
				for measurand, k := range phantom.Pettersen {
					r := c.One(measurand)
					r.Score.Z = k.Z(r.Value(), wrong)
				}
			},
		},
		{
			kind: "z-score-word", text: "The ventricle of a child is called dilated beside a z-score near zero.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "fail", measurand: "left-ventricular-internal-diameter-diastole",
			rules: []string{"left-ventricle/size-word-fits-z-score"},
			seed: func(c *phantom.Record) {
				c.Remarks = append(c.Remarks, phantom.Remark{Section: phantom.LeftVentricle, Topic: "left-ventricle", Text: "Left ventricle mildly dilated."})
			},
		},
		{
			kind: "z-score-no-table", text: "A z-score that no table at hand gives does not say whose it is.",
			profile: "child", dialect: "petrelline", scored: true, outcome: "review", measurand: annulus, rules: judge,
			also: []string{"patient/z-score-names-its-table"},
			seed: func(c *phantom.Record) {
				r := c.One(annulus)
				r.Score.Z += 1.1
				r.Score.Authority = ""
			},
		},
	}
}
