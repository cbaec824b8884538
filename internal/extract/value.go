package extract

import (
	"math/big"

	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/ucum"
)

// readValue reads number and unit of a NUM item and notes what is wrong with
// them. Details never repeat a text of the file that might be anything.
func (x *extractor) readValue(m *echo.Measurement, mv *sr.MeasuredValue) {
	if mv == nil {
		mv = &sr.MeasuredValue{}
	}
	m.ValueText, m.Unit, m.Qualifier = mv.NumericValue, mv.Units, mv.Qualifier
	if mv.Qualifier != nil {
		standard := mv.Qualifier.Standard()
		m.Qualifier = &standard
	}
	if len(mv.ExtraValues) > 0 {
		problem(m, echo.SeveralValues, "one item holds more than one value; the first is read")
	}
	value, ok := readNumber(m, mv)
	if !ok {
		return
	}
	written := x.recognize(mv)
	if written.err != nil {
		problem(m, echo.UnitNotUnderstood, written.err.Error())
		return
	}
	if written.alias {
		problem(m, echo.UnitAlias, "the unit is written "+quoted(mv.Units.CodeValue)+" and read as "+written.unit.Code())
	}
	m.Quantity = x.quantity(ucum.Quantity{Value: value, Unit: written.unit})
}

func problem(m *echo.Measurement, kind echo.ProblemKind, detail string) {
	m.Problems = append(m.Problems, echo.Problem{Kind: kind, Detail: detail})
}

func quoted(s string) string { return "\"" + s + "\"" }

// readNumber chooses between the representations of the value: the decimal
// string, or the more exact floating point or rational one when they agree
// within the string's rounding and it says more (PS3.3 C.18.1).
func readNumber(m *echo.Measurement, mv *sr.MeasuredValue) (ucum.Decimal, bool) {
	exact, haveExact := exactNumber(m, mv)
	if mv.NumericValue == "" {
		if haveExact {
			return exact, true
		}
		detail := "the item holds no value"
		if m.Qualifier != nil {
			detail += ": " + m.Qualifier.CodeMeaning
		}
		problem(m, echo.NoValue, detail)
		return ucum.Decimal{}, false
	}
	decimal, notes, err := ucum.ParseDecimal(mv.NumericValue)
	if err != nil {
		problem(m, echo.ValueNotNumber, "the numeric value is no decimal number")
		return exact, haveExact
	}
	for _, note := range notes {
		problem(m, echo.ValueSpelling, note)
	}
	if !haveExact {
		return decimal, true
	}
	if !agree(decimal, exact) {
		problem(m, echo.RepresentationsDiffer, "decimal string "+decimal.Text()+" and the exact value "+exact.Text()+" beside it differ; the decimal string is read")
		return decimal, true
	}
	if decimal.Rat().Cmp(exact.Rat()) == 0 {
		return decimal, true // the same number again: it was rounded as the string was
	}
	return exact, true
}

// exactNumber reads the floating point value, else the rational one.
func exactNumber(m *echo.Measurement, mv *sr.MeasuredValue) (ucum.Decimal, bool) {
	if mv.FloatingPoint != nil {
		if d, err := ucum.FromFloat(*mv.FloatingPoint); err == nil {
			return d, true
		}
		problem(m, echo.RepresentationsDiffer, "the floating point value is no finite number")
		return ucum.Decimal{}, false
	}
	if mv.Numerator == nil || mv.Denominator == nil {
		return ucum.Decimal{}, false
	}
	if *mv.Denominator == 0 {
		problem(m, echo.RepresentationsDiffer, "the denominator of the rational value is zero")
		return ucum.Decimal{}, false
	}
	f := float64(*mv.Numerator) / float64(*mv.Denominator)
	d, err := ucum.FromFloat(f)
	return d, err == nil
}

// agree reports whether the exact value rounds to the decimal string. A
// millionth of the last digit is left for the way from binary to decimal.
func agree(decimal, exact ucum.Decimal) bool {
	difference := new(big.Rat).Sub(decimal.Rat(), exact.Rat())
	allowed := new(big.Rat).Mul(decimal.HalfStep(), big.NewRat(1000001, 1000000))
	return difference.Abs(difference).Cmp(allowed) <= 0
}
