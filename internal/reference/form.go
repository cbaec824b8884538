package reference

import "math"

// Form is one of the ways publications write mean and spread of a quantity y
// at a body surface area s.
type Form struct {
	Name         string
	Text         string   // the arithmetic in words
	Coefficients []string // that every value of a table of this form gives
	z            func(y, s float64, k []float64) float64
}

// Forms lists the known forms.
func Forms() []Form {
	return []Form{
		{"log-polynomial", "z = (ln y - (b0 + b1 s + b2 s² + b3 s³)) / √mse", []string{"b0", "b1", "b2", "b3", "mse"},
			func(y, s float64, k []float64) float64 {
				return (math.Log(y) - (k[0] + s*(k[1]+s*(k[2]+s*k[3])))) / math.Sqrt(k[4])
			}},
		{"log-log", "z = (ln y - (intercept + slope ln s)) / sd", []string{"intercept", "slope", "sd"},
			func(y, s float64, k []float64) float64 { return (math.Log(y) - (k[0] + k[1]*math.Log(s))) / k[2] }},
		{"indexed", "z = (y / s^alpha - mean) / sd", []string{"alpha", "mean", "sd"},
			func(y, s float64, k []float64) float64 { return (y/math.Pow(s, k[0]) - k[1]) / k[2] }},
		{"power", "z = (y - (offset + factor s^exponent)) / (sdOffset + sdFactor s^sdExponent)",
			[]string{"offset", "factor", "exponent", "sdOffset", "sdFactor", "sdExponent"},
			func(y, s float64, k []float64) float64 {
				return (y - (k[0] + k[1]*math.Pow(s, k[2]))) / (k[3] + k[4]*math.Pow(s, k[5]))
			}},
	}
}
