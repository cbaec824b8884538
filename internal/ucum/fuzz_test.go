package ucum

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"echotally/internal/mutate"
)

var unitSeeds = []string{"mm[Hg]", "10*-2", "g/m2.7", "(m/s)2", "{x}", "square sq m", "m2.7.m", "/", "[", "°", "cm²", "ML", "ml/min/{1.73_m2}", "10*3/uL", "%{vol}"}

func checkRecognize(t *testing.T, value, scheme, meaning string) string {
	u, note, err := Recognize(value, scheme, meaning)
	if err != nil {
		return err.Error()
	}
	again, err := Parse(u.Code())
	if err != nil || !again.Same(u) {
		t.Errorf("%q, %q, %q: read as %q, which reads as %v, %v", value, scheme, meaning, u.Code(), again, err)
	}
	_ = u.Display()
	_ = u.Pow(3).Mul(u).Code()
	return fmt.Sprint(note)
}

func checkParseDecimal(t *testing.T, s string) string {
	d, note, err := ParseDecimal(s)
	if err != nil {
		return err.Error()
	}
	if d.HalfStep().Sign() <= 0 {
		t.Errorf("%q: half step %v", s, d.HalfStep())
	}
	again, _, err := ParseDecimal(d.Text())
	if err != nil || again.Rat().Cmp(d.Rat()) != 0 {
		t.Errorf("%q reads back as %v, %v", s, again, err)
	}
	return fmt.Sprint(note)
}

// unitTexts are the three texts of a unit, one a line.
func unitTexts() [][]byte {
	var out [][]byte
	for _, s := range unitSeeds {
		out = append(out, []byte(s+"\nUCUM\n"+s), []byte(s+"\n99X\n"))
	}
	return out
}

func checkUnit(t *testing.T, b []byte) string {
	value, rest, _ := strings.Cut(string(b), "\n")
	scheme, meaning, _ := strings.Cut(rest, "\n")
	return checkRecognize(t, value, scheme, meaning)
}

func FuzzRecognize(f *testing.F) {
	for _, seed := range unitTexts() {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkUnit(t, b) })
}

var decimalSeeds = []string{"1", "1e300", "-3,5", "\x00", "1e-301", "+.5e2", "NaN"}

func FuzzParseDecimal(f *testing.F) {
	for _, s := range decimalSeeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkParseDecimal(t, string(b)) })
}

func TestMutationsOfUnits(t *testing.T) {
	tokens := append(slices.Sorted(maps.Keys(atoms)), ".", "/", "(", ")", "{", "}", "2", "-1", "\n", " per ", "squared", "²", "µ", "\nUCUM\n")
	mutate.Run(t, mutate.Source{Seeds: unitTexts(), Tokens: tokens, Target: "FuzzRecognize"}, checkUnit)
}

func TestMutationsOfNumbers(t *testing.T) {
	var seeds [][]byte
	for _, s := range decimalSeeds {
		seeds = append(seeds, []byte(s))
	}
	tokens := []string{"0", "00000000000000000000", "9", ".", ",", "e", "E-", "+", "-", " ", "1e300", "\x00", "−", "٣"}
	mutate.Run(t, mutate.Source{Seeds: seeds, Tokens: tokens, Target: "FuzzParseDecimal"}, func(t *testing.T, b []byte) string {
		return checkParseDecimal(t, string(b))
	})
}
