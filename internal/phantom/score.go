package phantom

import (
	"math"
	"strconv"
)

// score is a z-score recorded beside a reading.
type score struct {
	Z         float64
	Authority string // by whose reference values, as the report says; "" when it does not
}

// regression is ln(y) = b0 + b1 s + b2 s² + b3 s³ with its mean square error:
// a diameter y in cm at a body surface area s in m2.
type regression struct{ b0, b1, b2, b3, mse float64 }

// Pettersen holds the regressions of Pettersen et al. (J Am Soc Echocardiogr
// 2008;21:922-934), written out here like the other equations of the model.
var Pettersen = map[string]regression{
	"left-ventricular-internal-diameter-diastole": {0.105, 2.859, -2.119, 0.552, 0.010},
	"left-ventricular-internal-diameter-systole":  {-0.371, 2.833, -2.081, 0.538, 0.016},
	"aortic-annulus-diameter":                     {-0.874, 2.708, -1.841, 0.452, 0.010},
	"aortic-root-diameter":                        {-0.500, 2.537, -1.707, 0.420, 0.012},
	"main-pulmonary-artery-diameter":              {-0.707, 2.746, -1.807, 0.424, 0.024},
}

func (k regression) mean(s float64) float64 { return k.b0 + k.b1*s + k.b2*s*s + k.b3*s*s*s }

// Z is the z-score of a diameter.
func (k regression) Z(y, s float64) float64 { return (math.Log(y) - k.mean(s)) / math.Sqrt(k.mse) }

// At is the diameter that has a z-score.
func (k regression) At(z, s float64) float64 { return math.Exp(k.mean(s) + z*math.Sqrt(k.mse)) }

// AddScores lets the scanner send z-scores with the diameters it has values for.
func (c *Record) AddScores() {
	for _, r := range c.Readings {
		if k, ok := Pettersen[r.Quantity.Measurand]; ok {
			r.Score = &score{k.Z(r.Value(), c.Subject.BodySurface), "Pettersen 2008"}
		}
	}
}

// items writes the z-score to two decimals, as scanners show it, with its
// authority beside it (PS3.16 TID 311).
func (s *score) items() []Item {
	if s == nil {
		return nil
	}
	one := UcumCode("1")
	out := []Item{{
		relation: hasProperty, valueType: "NUM", name: DcmCode("121416", "Z-Score of measurement"),
		number: strconv.FormatFloat(s.Z, 'f', 2, 64), unit: &one,
	}}
	if s.Authority != "" {
		out = append(out, text(hasProperty, DcmCode("121406", "Reference Authority"), s.Authority))
	}
	return out
}
