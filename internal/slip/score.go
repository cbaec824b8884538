package slip

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/reference"
)

// scoreCauses joins the slips of several z-scores: one that would mend most of
// them comes first.
func scoreCauses(a *answer.Answers, wrong []answer.Scored) []finding.Hypothesis {
	var out []finding.Hypothesis
	mends := map[string]int{}
	for _, s := range wrong {
		if !s.Named {
			continue // which table it is of is not known
		}
		for _, c := range scoreSlips(a, s) {
			if mends[c.Identifier]++; mends[c.Identifier] == 1 {
				out = append(out, c)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b finding.Hypothesis) int { return mends[b.Identifier] - mends[a.Identifier] })
	out = out[:min(len(out), maxCauses)]
	for i := range out {
		if n := mends[out[i].Identifier]; len(wrong) > 1 {
			out[i].Text = fmt.Sprintf("%s (%d of %d z-scores)", out[i].Text, n, len(wrong))
		}
	}
	return out
}

// scoreSlips are the single slips that would make a table give the z-score: the
// sign, the values of another site or another table, height and weight
// exchanged, a shifted decimal point.
func scoreSlips(a *answer.Answers, s answer.Scored) []finding.Hypothesis {
	var out []finding.Hypothesis
	found := func(identifier, text string) {
		out = append(out, finding.Hypothesis{Identifier: identifier, Text: text, Measurand: s.Of.Measurand})
	}
	stated := strings.TrimSpace(s.Item.ValueText)
	t := s.Tables[0]
	own := t.Find(s.Of.Measurand)
	turned := s
	turned.Z.X = -s.Z.X
	if turned.FitsAny(t, own) {
		found("sign", "with the other sign it is what "+t.Title+" gives")
	}
	if area, ok := exchangedSize(a, s, t, own); ok {
		found("height-weight-exchanged", fmt.Sprintf("with height and weight exchanged the body surface area is %s m², and it is what %s gives", answer.Plain(area), t.Title))
	}
	var sites, tables []string
	for _, v := range t.Values {
		if v != own && s.FitsAny(t, v) {
			sites = append(sites, v.Measurand.Title)
		}
	}
	if len(sites) > 0 {
		found("other-site", fmt.Sprintf("%s is what %s gives for %s", stated, t.Title, strings.Join(sites, " or ")))
	}
	for _, other := range a.Library.References.Of(s.Of.Measurand) {
		if other != t && s.FitsAny(other, other.Find(s.Of.Measurand)) {
			tables = append(tables, other.Title)
		}
	}
	if len(tables) > 0 {
		found("other-table", stated+" is what "+strings.Join(tables, " or ")+" gives")
	}
	for _, by := range []float64{10, 1.0 / 10} {
		moved := s
		moved.Z.X, moved.Z.HalfStep = s.Z.X*by, s.Z.HalfStep*by
		if moved.FitsAny(t, own) && s.Z.X != 0 {
			found("decimal-point", "with the decimal point moved it is what "+t.Title+" gives")
		}
	}
	return out
}

// exchangedSize tries the body surface area that comes of height and weight taken
// for each other.
func exchangedSize(a *answer.Answers, s answer.Scored, t *reference.Table, v *reference.Value) (area float64, ok bool) {
	for _, form := range a.Rule.ZScore.BodySurfaceArea {
		in := form.Value.Inputs
		if len(in) != 2 || in[0].Question != nil || in[1].Question != nil {
			continue
		}
		area = form.Value.Eval(func(i *expr.Input) float64 {
			if *i == in[0] {
				return a.Value(&in[1])
			}
			return a.Value(&in[0])
		})
		if s.Fits(t, v, answer.Size{X: area, Low: area, High: area}) == expr.True {
			return area, true
		}
	}
	return 0, false
}
