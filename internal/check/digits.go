package check

import (
	"math"
	"strconv"
	"strings"

	"echotally/internal/echo"
)

// digitCount is the number of significant digits of a written number.
func digitCount(text string) int {
	return len(strings.Trim(strings.ReplaceAll(strings.TrimLeft(text, "-+0."), ".", ""), " "))
}

// digits supposes two neighbouring digits transposed, or one dropped.
func (e *evaluation) digits(name string, b *binding, telling bool) []supposition {
	text := b.chosen.written().Text()
	if len(text) > 6 || b.chosen.x == 0 {
		return nil // full machine digits are not typed
	}
	written := b.chosen.written().Float()
	most := e.mostDecimals(b.chosen.m)
	var out []supposition
	try := func(changed string, kind slip, why string) {
		x, err := strconv.ParseFloat(changed, 64)
		if err == nil && x != written && written != 0 && decimals(changed) <= most {
			it := b.chosen
			it.x *= x / written
			it.halfStep *= math.Pow(10, float64(decimals(text)-decimals(changed)))
			s := e.supposition(kind, name, it, e.instead(name, it.x, why))
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
			t := []byte(text)
			t[i], t[j] = t[j], t[i]
			try(string(t), transposed, "two digits transposed")
		}
	}
	for i := 0; i <= len(text); i++ {
		for d := byte('0'); d <= '9'; d++ {
			if i == 0 && d == '0' {
				continue
			}
			try(text[:i]+string(d)+text[i:], dropped, "a digit dropped")
		}
	}
	if rest, ok := strings.CutPrefix(text, "0."); ok { // the one before the point
		for d := byte('1'); d <= '9'; d++ {
			try(string(d)+"."+rest, dropped, "a digit dropped")
		}
	}
	if !strings.Contains(text, ".") { // the last one behind the point, and the point with it
		for d := byte('0'); d <= '9'; d++ {
			try(text+"."+string(d), dropped, "a digit dropped")
		}
	}
	return out
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

func decimals(text string) int {
	_, behind, _ := strings.Cut(text, ".")
	return len(behind)
}

// mostDecimals is how many digits behind the point the report writes in the
// unit of a measurement; a scanner writes one unit in one way.
func (e *evaluation) mostDecimals(m *echo.Measurement) int {
	most := 0
	for i := range e.study.Measurements {
		if o := &e.study.Measurements[i]; o.Unit.CodeValue == m.Unit.CodeValue && o.Source.SOPInstanceUID == m.Source.SOPInstanceUID {
			most = max(most, decimals(o.ValueText))
		}
	}
	return most
}
