package answer

import (
	"math"
	"time"

	"echotally/internal/echo"
	"echotally/internal/expr"
)

// past is the earlier study as it is read for values; without any when it is not
// known to be of the same person.
func (r *Reading) past() *Reading {
	if r.earlier == nil {
		p := r.Study.Prior
		if p == nil || p.BirthDate != echo.Agrees {
			p = &echo.Prior{}
		}
		r.earlier = Read(r.Library, &echo.Study{StudyDate: p.StudyDate, Measurements: p.Measurements})
	}
	return r.earlier
}

// ofPrior answers what is asked of a measurand in the earlier study.
func (a *Answers) ofPrior(b *Binding, function string) float64 {
	before := a.past().bind(b.Alias)
	if function == "prior_present" {
		return truth(len(before.Items) > 0)
	}
	return before.Chosen.X
}

// priorDays is how many days lie between the two studies; NaN when a date is
// not recorded.
func (r *Reading) priorDays() float64 {
	if r.Study.Prior == nil {
		return math.NaN()
	}
	before, err1 := time.Parse(DateLayout, r.Study.Prior.StudyDate)
	now, err2 := time.Parse(DateLayout, r.Study.StudyDate)
	if err1 != nil || err2 != nil {
		return math.NaN()
	}
	return math.Round(now.Sub(before).Hours() / 24)
}

// DateLayout is the VR DA.
const DateLayout = "20060102"

// priorReason says why the earlier study gives no value.
func (a *Answers) priorReason(b *Binding) string {
	return a.past().bind(b.Alias).reason("") + " in the earlier study"
}

// shownPrior writes what is asked of the earlier study.
func (a *Answers) shownPrior(in expr.Input) string {
	x := a.Value(in)
	b := a.Binding(in.Name)
	switch {
	case b == nil:
		return Plain(x) + " days since the earlier study"
	case in.Function == "prior_present":
		return b.Alias.Title() + " present in the earlier study"
	}
	return "earlier " + b.Alias.Title() + " " + WithUnit(x, b.Alias.Unit)
}
