package casebook

import "echotally/internal/phantom"

// wallPlans are studies with scored segments, behind all others so that these
// stay as they are.
func wallPlans() []plan {
	out := []plan{
		{profile: "healthy-older", dialect: "petrelline", walled: true},
		{profile: "healthy-middle", dialect: "oldbarrow", walled: true},
	}
	for _, f := range wallFaults() {
		out = append(out, plan{profile: f.profile, dialect: f.dialect, faults: []fault{f}, walled: true})
	}
	return out
}

// wallFaults are scorings that contradict themselves or the words.
func wallFaults() []fault {
	const words = "Left ventricular size and systolic function normal. "
	return []fault{
		{
			kind: "score-index-typed", text: "The wall motion score index was typed with two digits exchanged: 1.21 for 1.12.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: phantom.WallIndex,
			rules: []string{"left-ventricle/wall-motion-score-index-from-segments"},
			seed: func(c *phantom.Record) {
				c.Wall.Moves[3], c.Wall.Moves[9], c.Wall.Index = phantom.Hypokinesis, phantom.Hypokinesis, "1.21"
				c.Reword("left-ventricle", words+"Basal and mid inferior segments hypokinetic.")
			},
		},
		{
			kind: "segment-against-words", text: "A segment is scored as hypokinetic, and the words still call the wall motion normal.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail",
			rules: []string{"left-ventricle/wall-motion-normal-fits-segments"},
			seed:  func(c *phantom.Record) { c.Wall.Moves[14], c.Wall.Index = phantom.Hypokinesis, "1.06" },
		},
		{
			kind: "score-index-left-at-normal", text: "A segment became akinetic, and the index stayed at 1. The report does not say on which scale it scores.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: phantom.WallIndex,
			rules: []string{"left-ventricle/wall-motion-index-normal-without-abnormal-segment"},
			seed: func(c *phantom.Record) {
				c.Wall.Moves[3], c.Wall.Unscaled = phantom.Akinesis, true
				c.Reword("left-ventricle", words+"Basal inferior segment akinetic.")
			},
		},
		{
			kind: "segments-left-out", text: "The last two segments of the scoring were left out.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail",
			rules: []string{"left-ventricle/wall-motion-segments-complete"},
			seed:  func(c *phantom.Record) { c.Wall.Moves = c.Wall.Moves[:15] },
		},
		{
			kind: "segments-of-another-heart", text: "Nine segments are scored as akinetic beside a normal ejection fraction.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: phantom.WallIndex,
			rules: []string{"left-ventricle/ejection-fraction-fits-wall-motion-score"},
			seed: func(c *phantom.Record) {
				for i := range 9 {
					c.Wall.Moves[i] = phantom.Akinesis
				}
				c.Wall.Index = "2.06"
				c.Reword("left-ventricle", words+"Nine segments akinetic.")
			},
		},
	}
}
