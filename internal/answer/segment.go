package answer

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/question"
	"echotally/internal/question/questionnaire"
	"echotally/internal/term"
)

// part is a part of the left ventricular wall and all that the study says of it
// at rest.
type part struct {
	term  *term.Term
	said  []*echo.Segment
	score float64 // 0 when it was not seen, NaN when it cannot be told
	why   string  // it cannot be told
	moves motion
}

// motion is what is known of how a part of the wall moves.
type motion int

const (
	untold motion = iota
	unseen
	normal
	abnormal
)

// motions orders what terms say of the motion.
var motions = map[term.Motion]motion{term.Unseen: unseen, term.Normal: normal, term.Abnormal: abnormal}

// partsOfWall gathers what is said of each part of the wall at rest, in the order
// it is first named. Superseded reports do not speak.
func partsOfWall(terms *term.Catalogue, segments []echo.Segment, superseded map[string]bool) []part {
	var out []part
	rest := restOf(terms, segments)
	for i := range segments {
		s := &segments[i]
		t := terms.Of(term.FindingSite, s.Site.Key())
		if t == nil || t.Wall == "" || superseded[s.Source.SOPInstanceUID] || !rest(s) {
			continue
		}
		at := slices.IndexFunc(out, func(p part) bool { return p.term == t })
		if at < 0 {
			at, out = len(out), append(out, part{term: t})
		}
		out[at].said = append(out[at].said, s)
	}
	for i := range out {
		out[i].settle(terms)
	}
	return out
}

// restOf tells which segments are of the heart at rest. Where the report names a
// stage of rest, only these are; where it names none, those without a stage.
func restOf(terms *term.Catalogue, segments []echo.Segment) func(*echo.Segment) bool {
	resting := func(s *echo.Segment) bool {
		t := terms.Of(term.Stage, stageOf(s))
		return t != nil && t.Name == "resting"
	}
	for i := range segments {
		if resting(&segments[i]) {
			return resting
		}
	}
	return func(s *echo.Segment) bool { return s.Stage == nil }
}

func stageOf(s *echo.Segment) coding.Key {
	if s.Stage == nil {
		return coding.Key{}
	}
	return s.Stage.Concept.Key()
}

// settle works out the score of a part, and whether it moves as it should, from
// all that is said of it. What is scored twice differently cannot be told; not
// seen in one place says nothing against a score in another.
func (p *part) settle(terms *term.Catalogue) {
	untellable := ""
	for _, s := range p.said {
		x, why := scoreOf(terms, s)
		switch {
		case math.IsNaN(x):
			untellable = cmp.Or(untellable, why)
		case x == 0:
		case p.score == 0:
			p.score = x
		case x != p.score:
			p.why = "scored twice, differently"
		}
		p.moves = max(p.moves, motionOf(terms, s))
	}
	if p.score == 0 {
		p.why = untellable
	}
	if p.why != "" {
		p.score = math.NaN()
	}
}

// scoreOf is the score of one Item: the number as written, or that of the finding
// on the stated scale.
func scoreOf(terms *term.Catalogue, s *echo.Segment) (score float64, why string) {
	if s.Score != nil {
		return s.Score.Value.Float(), ""
	}
	if s.Finding == nil {
		return math.NaN(), "its score cannot be read"
	}
	found := terms.Of(term.WallMotion, s.Finding.Key())
	switch {
	case found == nil:
		return math.NaN(), "its finding has a code that is not known"
	case found.Moves == term.Unseen:
		return 0, ""
	case s.Scheme == nil:
		return math.NaN(), "no score is written and no scale stated"
	}
	scheme := terms.Of(term.ScoringScheme, s.Scheme.Key())
	if scheme != nil && found.Scores[scheme.Name] > 0 {
		return found.Scores[scheme.Name], ""
	}
	return math.NaN(), "no score is written, and what “" + found.Title + "” scores on the stated scale is not known"
}

// motionOf is what one Item says of the motion. On every scale 1 is normal.
func motionOf(terms *term.Catalogue, s *echo.Segment) motion {
	out := untold
	if s.Finding != nil {
		if found := terms.Of(term.WallMotion, s.Finding.Key()); found != nil {
			out = motions[found.Moves]
		}
	}
	if s.Score != nil {
		switch x := s.Score.Value.Float(); {
		case x > 1:
			return abnormal
		case x == 1:
			return max(out, normal)
		case x == 0:
			return max(out, unseen)
		}
	}
	return out
}

// CountSegments is how many segments are described, or said not to be seen.
func (r *Reading) CountSegments() float64 {
	return r.parts(func(p part) bool { return p.term.Wall == term.WallSegment })
}

// CountRegions is how many larger regions are described.
func (r *Reading) CountRegions() float64 {
	return r.parts(func(p part) bool { return p.term.Wall == term.WallRegion })
}

// CountScoredSegments is of how many segments the score can be told.
func (r *Reading) CountScoredSegments() float64 {
	return r.parts(func(p part) bool { return p.term.Wall == term.WallSegment && !math.IsNaN(p.score) })
}

// CountAbnormalSegments is how many parts do not move as they should; NaN when
// none is known to and it cannot be told of every one.
func (r *Reading) CountAbnormalSegments() float64 {
	n := r.parts(func(p part) bool { return p.moves == abnormal })
	if n == 0 && (len(r.wall) == 0 || r.parts(func(p part) bool { return p.moves == untold }) > 0) {
		return math.NaN()
	}
	return n
}

func (r *Reading) parts(hold func(p part) bool) float64 { return float64(len(filter(r.wall, hold))) }

// MeanSegmentScore is the mean of all scores that are not zero; NaN when there
// are none, or one cannot be told.
func (r *Reading) MeanSegmentScore() float64 {
	sum, n := 0.0, 0.0
	for _, p := range r.wall {
		if p.score != 0 { // what cannot be told stays so in the sum
			sum, n = sum+p.score, n+1
		}
	}
	return sum / n
}

// whyNoScore says why a question about the wall has no answer.
func (r *Reading) whyNoScore(q *question.Question) []finding.Missing {
	missing := func(title, reason string) finding.Missing {
		return finding.Missing{Alias: q.Name, Measurand: "segment-scores", Title: title, Reason: reason}
	}
	if !slices.ContainsFunc(r.wall, func(p part) bool { return p.moves != unseen }) {
		return []finding.Missing{missing("Segment scores", "no segment of the wall is described")}
	}
	var first string
	more := 0
	for _, p := range r.wall {
		tells := !math.IsNaN(p.score)
		if q.Name == questionnaire.AbnormalSegments {
			tells = p.moves != untold
		}
		switch {
		case tells:
		case first == "":
			first = p.term.Title + ": " + cmp.Or(p.why, "how it moves cannot be told")
		default:
			more++
		}
	}
	if more > 0 {
		first += fmt.Sprintf(" (and %d more)", more)
	}
	return []finding.Missing{missing("Segment scores", first)}
}
