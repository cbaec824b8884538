package answer

import (
	"math"

	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// Worded asks whether a sentence of the report says a value.
func (b *Binding) Worded() float64 { return truth(!math.IsNaN(b.WordedLow())) }

// WordedLow is the lowest value that sentences say, NaN when none does.
func (b *Binding) WordedLow() float64 {
	return b.worded(func(w *echo.Worded) float64 { return b.inUnit(w.Low) }, math.Min)
}

// WordedHigh is the highest one.
func (b *Binding) WordedHigh() float64 {
	return b.worded(func(w *echo.Worded) float64 { return b.inUnit(w.High) }, math.Max)
}

func (b *Binding) worded(value func(*echo.Worded) float64, of func(x, y float64) float64) float64 {
	out := math.NaN()
	said := b.reading.Study.Worded
	for i := range said {
		for _, m := range b.Alias.Measurands {
			if said[i].Measurand != m.Identifier {
				continue
			}
			if x := value(&said[i]); math.IsNaN(out) {
				out = x
			} else {
				out = of(out, x)
			}
		}
	}
	return out
}

func (b *Binding) inUnit(q ucum.Quantity) float64 {
	x, err := q.Float(b.Alias.Unit)
	if err != nil {
		return math.NaN()
	}
	return x
}
