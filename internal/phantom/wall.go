package phantom

import "strconv"

// wallScoring is how the segments of the left ventricular wall were scored, and
// the index as the report has it.
type wallScoring struct {
	Moves    []code // of each segment in the order of wallSegments
	Index    string // as written
	Unscaled bool   // the report does not say on which scale
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
	Hypokinesis  = sct("37706002", "F-32056", "Hypokinesis")
	Akinesis     = sct("195675009", "F-30004", "Akinesis")
	NotSeen      = DcmCode("122288", "Not visualized")
)

// fourPointScore is the score of a finding on the four-point scale (Lang 2015).
var fourPointScore = map[code]int{normalMotion: 1, Hypokinesis: 2, Akinesis: 3}

// WallIndex is the measurand of the wall motion score index.
const WallIndex = "left-ventricular-wall-motion-score-index"

// ScoreWall scores every segment as normal.
func (c *Record) ScoreWall() {
	c.Wall = &wallScoring{Moves: make([]code, len(wallSegments)), Index: "1.00"}
	for i := range c.Wall.Moves {
		c.Wall.Moves[i] = normalMotion
	}
}

// wallItems writes the analysis after PS3.16 TID 5204. The older scanner puts the
// score below each finding under a name of its own.
func (d Dialect) wallItems(c *Record) []Item {
	if c.Wall == nil {
		return nil
	}
	one := UcumCode("1")
	index := Item{relation: contains, valueType: "NUM", name: DcmCode("125202", "LV Wall Motion Score Index"), number: c.Wall.Index, unit: &one, measurand: WallIndex}
	if !c.Wall.Unscaled {
		index = index.with(coded(hasModifier, d.spell(measurementMethod), DcmCode("125223", "4 Point Segment Finding Scale")))
	}
	out := container(contains, d.wallTitle(), coded(hasModifier, procedureReported, d.spell(wallProcedure)), index)
	for i, move := range c.Wall.Moves {
		found := coded(contains, DcmCode("121071", "Finding"), d.spell(move), coded(hasModifier, d.spell(findingSite), d.spell(wallSegments[i])))
		if d.legacy {
			name := code{value: "WMS", scheme: "99OLDBARROW", meaning: "Wall motion score"}
			found = found.with(Item{relation: hasProperty, valueType: "NUM", name: name, number: strconv.Itoa(fourPointScore[move]), unit: &one})
		}
		out = out.with(found)
	}
	return []Item{out}
}

// wallProcedure is what TID 5200 gives TID 5204 as its procedure.
var wallProcedure = sct("35757004", "P5-B3121", "Echocardiography for Determining Ventricular Contraction")

func (d Dialect) wallTitle() code {
	if d.legacy {
		return oldFindings
	}
	return findings
}
