package answer

import (
	"math"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/measurand"
)

// Unnamed is a value under a code that nothing names and that may well be of the
// alias; nil when there is none. With one, the value cannot be called absent.
func (b *Binding) Unnamed() *echo.Measurement {
	for _, m := range b.Alias.Measurands {
		if u := b.reading.unnamedOf(m); u != nil {
			return u
		}
	}
	return nil
}

// unnamedOf looks among the unnamed values of the study, which are told what
// they may be when this is first asked.
func (r *Reading) unnamedOf(of *measurand.Measurand) *echo.Measurement {
	if !r.unnamedTold {
		r.unnamedTold = true
		for i := range r.Study.Measurements {
			m := &r.Study.Measurements[i]
			if m.Measurand == "" && m.Role == echo.Result && m.Quantity != nil && !m.Superseded && m.DuplicateOf == nil {
				r.unnamed = append(r.unnamed, unnamed{m, r.Library.Measurands.Likely(m)})
			}
		}
	}
	for _, u := range r.unnamed {
		if slices.Contains(u.may, of) {
			return u.measurement
		}
	}
	return nil
}

// unnamed is a value under an unknown code and what it may be.
type unnamed struct {
	measurement *echo.Measurement
	may         []*measurand.Measurand
}

// Present asks whether there is a value; it cannot be told where one may stand
// under a code that nothing names.
func (b *Binding) Present() float64 {
	if len(b.Items) == 0 && b.Unnamed() != nil {
		return math.NaN()
	}
	return truth(len(b.Items) > 0)
}
