package extract

import (
	"math/big"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/sr"
)

// A binary number beside the decimal string is read where it says more; where it
// is the same number, it was rounded as the string was.
func TestWhichRepresentationIsRead(t *testing.T) {
	float := func(f float64) *float64 { return &f }
	for _, c := range []struct {
		title, decimal string
		binary         *float64
		want           string // as read
		rounded        bool
	}{
		{"no binary number", "1.89", nil, "1.89", true},
		{"the same number again", "1.89", float(1.89), "1.89", true},
		{"the same with a zero that counts", "1.890", float(1.89), "1.890", true},
		{"one that says more", "1.89", float(1.8887), "1.8887", false},
		{"another number", "1.89", float(2.5), "1.89", true},
	} {
		var m echo.Measurement
		got, ok := readNumber(&m, &sr.MeasuredValue{NumericValue: c.decimal, FloatingPoint: c.binary})
		if rounded := got.HalfStep().Cmp(big.NewRat(1, 10000)) > 0; !ok || got.Text() != c.want || rounded != c.rounded {
			t.Errorf("%s: %s read as %q, rounded %t; want %q, %t", c.title, c.decimal, got.Text(), rounded, c.want, c.rounded)
		}
	}
}
