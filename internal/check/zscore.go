package check

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
)

// judged is what one z-score came to.
type judged struct {
	outcome finding.Outcome
	score   answer.Scored
	fitted  string // which table, and which body surface area
	missing finding.Missing
}

// zScoresHold asks of every z-score whether its table gives it. One that does
// not fit its named table fails; one that fits none of the tables it may be of
// is a person's to look at, since nobody has all tables.
func (d *decision) zScoresHold() {
	gravity := []finding.Outcome{finding.Pass, finding.Open, finding.Review, finding.Fail}
	d.outcome = finding.Pass
	for _, z := range d.answers.Scores() {
		j := judgeZ(d.answers, z)
		if slices.Index(gravity, j.outcome) > slices.Index(gravity, d.outcome) {
			d.outcome = j.outcome
		}
		if j.outcome == finding.Fail || j.outcome == finding.Review {
			d.wrong = append(d.wrong, j.score)
		}
		d.scores = append(d.scores, j)
	}
}

func (d *decision) tellScores(res *finding.Result) {
	var told, fitted []string
	open, size := 0, ""
	for _, j := range d.scores {
		switch j.outcome {
		case finding.Pass:
			fitted = append(fitted, j.fitted)
		case finding.Open:
			res.Missing = append(res.Missing, j.missing)
			open++
		default:
			text := wrongZ(d.answers, j.score)
			if now := answer.Plain(j.score.Sizes[0].X); now != size {
				text, size = "at a body surface area of "+now+" m², "+text, now
			}
			told = append(told, text)
			res.Evidence = append(res.Evidence, finding.Evidence{Measurement: j.score.Of}, finding.Evidence{Measurement: j.score.Item})
		}
	}
	res.Variant = strings.Join(compact(fitted), "; ")
	res.Missing = answer.CompactMissing(res.Missing)
	switch {
	case d.outcome == finding.Open:
		res.Message = answer.CannotTell(res.Missing)
	case len(told) > 0 && open > 0:
		told = append(told, fmt.Sprintf("%d more could not be told", open))
		res.Missing = nil
	}
	if len(told) > 0 {
		res.Message = answer.Capital(strings.Join(told, "; "))
	}
}

func judgeZ(a *answer.Answers, z answer.Score) judged {
	s, missing := a.Ready(z)
	if missing != "" {
		return openZ(a, z, missing)
	}
	told := false
	for _, t := range s.Tables {
		for _, at := range s.Sizes {
			switch s.Fits(t, t.Find(z.Of.Measurand), at) {
			case expr.True:
				return judged{outcome: finding.Pass, score: s, fitted: t.Title + ", " + at.Title}
			case expr.False:
				told = true
			}
		}
	}
	switch {
	case !told:
		return openZ(a, z, "the arithmetic has no result for these values")
	case s.Named:
		return judged{outcome: finding.Fail, score: s}
	}
	return judged{outcome: finding.Review, score: s}
}

func openZ(a *answer.Answers, z answer.Score, reason string) judged {
	return judged{outcome: finding.Open, missing: finding.Missing{Alias: "z-score", Measurand: "z-score",
		Title: strings.TrimSpace("z-score " + strings.TrimSpace(z.Item.ValueText) + a.OfWhat(z.Item)), Reason: reason}}
}

// wrongZ says what is stated and what each table gives instead.
func wrongZ(a *answer.Answers, s answer.Scored) string {
	what := a.Library.Measurands.Find(s.Of.Measurand)
	var gives []string
	for _, t := range s.Tables {
		gives = append(gives, fmt.Sprintf("%+.2f by %s", t.Z(t.Find(s.Of.Measurand), s.Y.X, s.Sizes[0].X), t.Title))
	}
	return fmt.Sprintf("%s %s: z-score %s stated, %s", what.Short, s.Y.Text(what.Unit), asSigned(s.Item), strings.Join(gives, ", "))
}

// asSigned is a z-score as written, with a sign as the others have it.
func asSigned(score *echo.Measurement) string {
	text := strings.TrimSpace(score.ValueText)
	if strings.HasPrefix(text, "-") || strings.HasPrefix(text, "+") {
		return text
	}
	return "+" + text
}
