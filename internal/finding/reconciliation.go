package finding

import (
	"math"

	"echotally/internal/echo"
)

// Reconciliation is the study's redundant measurements taken together: the
// values closest to what was measured that satisfy every relation, and the
// measurement that explains a misfit.
type Reconciliation struct {
	Relations []RelationUse `cbor:"1,keyasint,omitempty"` // those that were used, and those set aside with the reason
	ChiSquare float64       `cbor:"2,keyasint,omitempty"`
	Freedom   int           `cbor:"3,keyasint,omitempty"`
	PValue    float64       `cbor:"4,keyasint,omitempty"`
	Level     float64       `cbor:"5,keyasint,omitempty"` // family-wise error level of the measurement test
	Critical  *float64      `cbor:"6,keyasint,omitempty"` // critical normalised residual; nil when no measurement can be tested
	Residuals []Residual    `cbor:"7,keyasint,omitempty"`
	Suspects  [][]Suspect   `cbor:"8,keyasint,omitempty"`  // per round; several in one round cannot be told apart
	Settled   bool          `cbor:"9,keyasint,omitempty"`  // what remains fits together
	Problem   string        `cbor:"10,keyasint,omitempty"` // why there is no solution, "" when there is one
}

// RelationUse is a relation and whether it was used.
type RelationUse struct {
	Identifier string `cbor:"1,keyasint,omitempty"`
	Title      string `cbor:"2,keyasint,omitempty"`
	Aside      string `cbor:"3,keyasint,omitempty"` // why it was set aside, "" when used
}

// Residual is one measurement against what the others imply.
type Residual struct {
	Measurand  string    `cbor:"1,keyasint,omitempty"`
	Reference  Reference `cbor:"2,keyasint,omitempty"`
	Value      float64   `cbor:"3,keyasint,omitempty"`
	Reconciled float64   `cbor:"4,keyasint,omitempty"`
	Unit       string    `cbor:"5,keyasint,omitempty"`
	Z          float64   `cbor:"6,keyasint,omitempty"` // 0 and Testable false when nothing else bears on it
	Testable   bool      `cbor:"7,keyasint,omitempty"`

	Measurement *echo.Measurement `cbor:"-"`
}

// Suspect is a measurement that does not fit, with what the others imply.
type Suspect struct {
	Measurand string       `cbor:"1,keyasint,omitempty"`
	Title     string       `cbor:"2,keyasint,omitempty"`
	Reference Reference    `cbor:"3,keyasint,omitempty"`
	Value     float64      `cbor:"4,keyasint,omitempty"`
	Estimate  float64      `cbor:"5,keyasint,omitempty"`
	Low       *float64     `cbor:"6,keyasint,omitempty"` // end of the 95 % interval; nil when the others set no bound
	High      *float64     `cbor:"7,keyasint,omitempty"` // likewise
	Unit      string       `cbor:"8,keyasint,omitempty"`
	Z         float64      `cbor:"9,keyasint,omitempty"`
	Estimable bool         `cbor:"10,keyasint,omitempty"`
	Causes    []Hypothesis `cbor:"11,keyasint,omitempty"` // slips that would turn the implied value into the recorded one

	Measurement *echo.Measurement `cbor:"-"`
}

// Bound is a bound as it is kept: nil when there is none, never infinite.
func Bound(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
