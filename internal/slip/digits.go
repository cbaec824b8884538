package slip

import (
	"math"
	"strconv"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/mistake"
)

// digitCount is the number of significant digits of a written number: neither
// its sign nor its exponent is one.
func digitCount(text string) int {
	number, _ := apart(text)
	return len(strings.ReplaceAll(strings.TrimLeft(number, "0."), ".", ""))
}

// apart takes the sign off a written number, and its exponent.
func apart(text string) (number, exponent string) {
	number = strings.TrimLeft(strings.TrimSpace(text), "-+")
	if i := strings.IndexAny(number, "eE"); i >= 0 {
		return number[:i], number[i:]
	}
	return number, ""
}

// digits supposes two neighbouring digits transposed, or one dropped or
// written twice.
func (t *tested) digits(name string, b *answer.Binding, telling bool) []supposition {
	text, exponent := apart(b.Chosen.Written().Text())
	if len(text) > t.Library.Mistakes.Limits.TypedDigits || b.Chosen.X == 0 {
		return nil // full machine digits are not typed
	}
	written := math.Abs(b.Chosen.Written().Float())
	most := t.x.mostDecimals(b.Chosen.Measurement)
	var out []supposition
	try := func(changed string, kind *mistake.Slip, why string) {
		if kind == nil {
			return
		}
		x, err := strconv.ParseFloat(changed+exponent, 64)
		if err == nil && x != written && written != 0 && decimals(changed) <= most {
			it := b.Chosen
			it.X *= x / written
			it.HalfStep *= math.Pow(10, float64(decimals(text)-decimals(changed)))
			s := t.supposition(kind, name, it, func() string { return t.instead(name, it.X, why) })
			s.telling = telling
			out = append(out, s)
		}
	}
	for i := 0; i+1 < len(text); i++ {
		j := i + 1
		if text[j] == '.' && j+1 < len(text) {
			j++
		}
		if digit(text[i]) && digit(text[j]) && text[i] != text[j] {
			turned := []byte(text)
			turned[i], turned[j] = turned[j], turned[i]
			try(string(turned), t.kind(transposed), "two digits transposed")
		}
	}
	for i := 0; i+1 < len(text); i++ {
		if digit(text[i]) && text[i] == text[i+1] {
			try(text[:i]+text[i+1:], t.kind(doubled), "a digit doubled")
		}
	}
	for i := 0; i <= len(text); i++ {
		for d := byte('0'); d <= '9'; d++ {
			if i == 0 && d == '0' {
				continue
			}
			try(text[:i]+string(d)+text[i:], t.kind(dropped), "a digit dropped")
		}
	}
	if rest, ok := strings.CutPrefix(text, "0."); ok { // the one before the point
		for d := byte('1'); d <= '9'; d++ {
			try(string(d)+"."+rest, t.kind(dropped), "a digit dropped")
		}
	}
	if !strings.Contains(text, ".") { // the last one behind the point, and the point with it
		for d := byte('0'); d <= '9'; d++ {
			try(text+"."+string(d), t.kind(dropped), "a digit dropped")
		}
	}
	return out
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

func decimals(text string) int {
	_, behind, _ := strings.Cut(text, ".")
	return len(behind)
}

// digitsKey is a unit of a report.
type digitsKey struct{ report, unit string }

// mostDecimals is how many digits behind the point the report writes in the
// unit of a measurement; a scanner writes one unit in one way.
func (x *explainer) mostDecimals(m *echo.Measurement) int {
	key := digitsKey{m.Source.SOPInstanceUID, m.Unit.CodeValue}
	most, known := x.digits[key]
	if known {
		return most
	}
	for i := range x.Study.Measurements {
		if o := &x.Study.Measurements[i]; o.Unit.CodeValue == key.unit && o.Source.SOPInstanceUID == key.report {
			most = max(most, decimals(o.ValueText))
		}
	}
	x.digits[key] = most
	return most
}
