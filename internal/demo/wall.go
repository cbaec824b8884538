package demo

import "strconv"

// wallScoring is how the segments of the left ventricular wall were scored, and
// the index as the report has it.
type wallScoring struct {
	moves    []code // of each segment in the order of wallSegments
	index    string // as written
	unscaled bool   // the report does not say on which scale
}

// wallSegments is PS3.16 CID 3717, with the identifiers of its earlier edition.
var wallSegments = []code{
	sct("264850008", "T-32619", "left ventricle basal anterior segment"),
	sct("396482007", "R-10075", "left ventricle basal anteroseptal segment"),
	sct("396646008", "R-10076", "left ventricle basal inferoseptal segment"),
	sct("264846001", "T-32615", "left ventricle basal inferior segment"),
	sct("396652009", "R-10079", "left ventricle basal inferolateral segment"),
	sct("396654005", "R-1007A", "left ventricle basal anterolateral segment"),
	sct("264848000", "T-32617", "left ventricle mid anterior segment"),
	sct("396647004", "R-10077", "left ventricle mid anteroseptal segment"),
	sct("396649001", "R-10078", "left ventricle mid inferoseptal segment"),
	sct("264847005", "T-32616", "left ventricle mid inferior segment"),
	sct("396655006", "R-1007B", "left ventricle mid inferolateral segment"),
	sct("396656007", "R-1007C", "left ventricle mid anterolateral segment"),
	sct("264844003", "T-32613", "left ventricle apical anterior segment"),
	sct("264845002", "T-32614", "left ventricle apical septal segment"),
	sct("264849008", "T-32618", "left ventricle apical inferior segment"),
	sct("264853005", "T-3261C", "left ventricle apical lateral segment"),
	sct("128564006", "T-32602", "apex of left ventricle"),
}

// Findings of PS3.16 CID 3703.
var (
	normalMotion = sct("373122000", "R-00344", "Normal wall motion")
	hypokinesis  = sct("37706002", "F-32056", "Hypokinesis")
	akinesis     = sct("195675009", "F-30004", "Akinesis")
)

// fourPointScore is the score of a finding on the four-point scale (Lang 2015).
var fourPointScore = map[code]int{normalMotion: 1, hypokinesis: 2, akinesis: 3}

const wallIndex = "left-ventricular-wall-motion-score-index"

// scoreWall scores every segment as normal.
func (c *record) scoreWall() {
	c.wall = &wallScoring{moves: make([]code, len(wallSegments)), index: "1.00"}
	for i := range c.wall.moves {
		c.wall.moves[i] = normalMotion
	}
}

// wallItems writes the analysis after PS3.16 TID 5204. The older scanner puts the
// score below each finding under a name of its own.
func (d dialect) wallItems(c *record) []item {
	if c.wall == nil {
		return nil
	}
	one := ucumCode("1")
	index := item{relation: contains, valueType: "NUM", name: dcmCode("125202", "LV Wall Motion Score Index"), number: c.wall.index, unit: &one, measurand: wallIndex}
	if !c.wall.unscaled {
		index = index.with(coded(hasModifier, d.spell(measurementMethod), dcmCode("125223", "4 Point Segment Finding Scale")))
	}
	out := container(contains, d.wallTitle(), coded(hasModifier, procedureReported, d.spell(wallProcedure)), index)
	for i, move := range c.wall.moves {
		found := coded(contains, dcmCode("121071", "Finding"), d.spell(move), coded(hasModifier, d.spell(findingSite), d.spell(wallSegments[i])))
		if d.legacy {
			name := code{value: "WMS", scheme: "99OLDBARROW", meaning: "Wall motion score"}
			found = found.with(item{relation: hasProperty, valueType: "NUM", name: name, number: strconv.Itoa(fourPointScore[move]), unit: &one})
		}
		out = out.with(found)
	}
	return []item{out}
}

// wallProcedure is what TID 5200 gives TID 5204 as its procedure.
var wallProcedure = sct("35757004", "P5-B3121", "Echocardiography for Determining Ventricular Contraction")

func (d dialect) wallTitle() code {
	if d.legacy {
		return oldFindings
	}
	return findings
}

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
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: wallIndex,
			rules: []string{"left-ventricle/wall-motion-score-index-from-segments"},
			seed: func(c *record) {
				c.wall.moves[3], c.wall.moves[9], c.wall.index = hypokinesis, hypokinesis, "1.21"
				c.reword("left-ventricle", words+"Basal and mid inferior segments hypokinetic.")
			},
		},
		{
			kind: "segment-against-words", text: "A segment is scored as hypokinetic, and the words still call the wall motion normal.",
			profile: "healthy-older", dialect: "oldbarrow", outcome: "fail",
			rules: []string{"left-ventricle/wall-motion-normal-fits-segments"},
			seed:  func(c *record) { c.wall.moves[14], c.wall.index = hypokinesis, "1.06" },
		},
		{
			kind: "score-index-left-at-normal", text: "A segment became akinetic, and the index stayed at 1. The report does not say on which scale it scores.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail", measurand: wallIndex,
			rules: []string{"left-ventricle/wall-motion-index-normal-without-abnormal-segment"},
			seed: func(c *record) {
				c.wall.moves[3], c.wall.unscaled = akinesis, true
				c.reword("left-ventricle", words+"Basal inferior segment akinetic.")
			},
		},
		{
			kind: "segments-left-out", text: "The last two segments of the scoring were left out.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail",
			rules: []string{"left-ventricle/wall-motion-segments-complete"},
			seed:  func(c *record) { c.wall.moves = c.wall.moves[:15] },
		},
		{
			kind: "segments-of-another-heart", text: "Nine segments are scored as akinetic beside a normal ejection fraction.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: wallIndex,
			rules: []string{"left-ventricle/ejection-fraction-fits-wall-motion-score"},
			seed: func(c *record) {
				for i := range 9 {
					c.wall.moves[i] = akinesis
				}
				c.wall.index = "2.06"
				c.reword("left-ventricle", words+"Nine segments akinetic.")
			},
		},
	}
}
