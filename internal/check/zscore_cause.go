package check

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/reference"
)

// wrongZ says what is stated and what each table gives instead.
func (e *evaluation) wrongZ(s scored) string {
	if e.brief {
		return ""
	}
	what := e.set.Measurands.Find(s.of.Measurand)
	var gives []string
	for _, t := range s.tables {
		gives = append(gives, fmt.Sprintf("%s by %s", signed(t.Z(t.Find(s.of.Measurand), s.y.x, s.sizes[0].x)), t.Title))
	}
	return fmt.Sprintf("%s %s: z-score %s stated, %s", what.Short, s.y.text(what.Unit), asSigned(s.score), strings.Join(gives, ", "))
}

// asSigned is a z-score as written, with a sign as the others have it.
func asSigned(score *echo.Measurement) string {
	text := strings.TrimSpace(score.ValueText)
	if strings.HasPrefix(text, "-") || strings.HasPrefix(text, "+") {
		return text
	}
	return "+" + text
}

// signed writes a z-score to two places with its sign.
func signed(z float64) string { return fmt.Sprintf("%+.2f", z) }

// sharedCauses joins the slips of several z-scores: one that would mend most of
// them comes first.
func sharedCauses(failed []judged) []finding.Hypothesis {
	var out []finding.Hypothesis
	mends := map[string]int{}
	for _, j := range failed {
		for _, c := range j.causes {
			if mends[c.Identifier]++; mends[c.Identifier] == 1 {
				out = append(out, c)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b finding.Hypothesis) int { return mends[b.Identifier] - mends[a.Identifier] })
	out = out[:min(len(out), maxCauses)]
	for i := range out {
		if n := mends[out[i].Identifier]; len(failed) > 1 {
			out[i].Text = fmt.Sprintf("%s (%d of %d z-scores)", out[i].Text, n, len(failed))
		}
	}
	return out
}

// zCauses are the single slips that would make a table give the z-score: the
// sign, the values of another site or another table, height and weight
// exchanged, a shifted decimal point.
func (e *evaluation) zCauses(s scored) []finding.Hypothesis {
	if e.brief {
		return nil
	}
	var out []finding.Hypothesis
	found := func(identifier, text string) {
		out = append(out, finding.Hypothesis{Identifier: identifier, Text: text, Measurand: s.of.Measurand})
	}
	stated := strings.TrimSpace(s.score.ValueText)
	t := s.tables[0]
	own := t.Find(s.of.Measurand)
	turned := s
	turned.z.x = -s.z.x
	if turned.fitsAny(t, own) {
		found("sign", "with the other sign it is what "+t.Title+" gives")
	}
	if area, ok := e.exchanged(s, t, own); ok {
		found("height-weight-exchanged", fmt.Sprintf("with height and weight exchanged the body surface area is %s m², and it is what %s gives", plain(area), t.Title))
	}
	var sites, tables []string
	for _, v := range t.Values {
		if v != own && s.fitsAny(t, v) {
			sites = append(sites, v.Measurand.Title)
		}
	}
	if len(sites) > 0 {
		found("other-site", fmt.Sprintf("%s is what %s gives for %s", stated, t.Title, strings.Join(sites, " or ")))
	}
	for _, other := range e.set.References.Of(s.of.Measurand) {
		if other != t && s.fitsAny(other, other.Find(s.of.Measurand)) {
			tables = append(tables, other.Title)
		}
	}
	if len(tables) > 0 {
		found("other-table", stated+" is what "+strings.Join(tables, " or ")+" gives")
	}
	for _, by := range []float64{10, 1.0 / 10} {
		moved := s
		moved.z.x, moved.z.halfStep = s.z.x*by, s.z.halfStep*by
		if moved.fitsAny(t, own) && s.z.x != 0 {
			found("decimal-point", "with the decimal point moved it is what "+t.Title+" gives")
		}
	}
	return out
}

func (s scored) fitsAny(t *reference.Table, v *reference.Value) bool {
	for _, at := range s.sizes {
		if s.fits(t, v, at) == expr.True {
			return true
		}
	}
	return false
}

// exchanged tries the body surface area that comes of height and weight taken
// for each other.
func (e *evaluation) exchanged(s scored, t *reference.Table, v *reference.Value) (area float64, ok bool) {
	for _, form := range e.rule.ZScore.BodySurfaceArea {
		in := form.Value.Inputs
		if len(in) != 2 || in[0].Function != "" || in[1].Function != "" {
			continue
		}
		area = form.Value.Eval(func(i expr.Input) float64 {
			if i == in[0] {
				return e.value(in[1])
			}
			return e.value(in[0])
		})
		if s.fits(t, v, size{x: area, low: area, high: area}) == expr.True {
			return area, true
		}
	}
	return 0, false
}
