package answer

import (
	"math"
	"time"

	"echotally/internal/echo"
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

// PriorDays is how many days lie between the two studies; NaN when a date is
// not recorded.
func (r *Reading) PriorDays() float64 {
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
