package withhold

import (
	"regexp"
	"strings"
	"testing"

	"echotally/internal/echo"
)

func TestWithholdTakesOutNamesAsWords(t *testing.T) {
	w := New(echo.Identity{PatientName: "Lee^Ann^^Mrs.=Λι", PatientID: "77-1", AccessionNumber: "1 Ann 2"})
	for in, want := range map[string]string{
		"":                         "",
		"nobody":                   "nobody",
		"Lee":                      "(withheld)",
		"Mrs Lee (77-1) sleeps":    "(withheld) (withheld) ((withheld)) sleeps",
		"sleeve, annulus, 77-12":   "sleeve, annulus, 77-12",
		"ANN, Lee.":                "(withheld), (withheld).",
		"Lee Lee Lee":              "(withheld) (withheld) (withheld)",
		"LEE\u0301 and ſLee, 1Lee": "(withheld)\u0301 and ſLee, 1Lee",
		"see 1 ann 2 there":        "see (withheld) there",
		"Λι is too short":          "Λι is too short",
		"\xffLee\xff":              "\xff(withheld)\xff",
	} {
		if got := w.From(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}

// FuzzWithhold compares with a regular expression that says the same of one
// part; it takes the rune before a part with it, so repeated until nothing is
// left.
func FuzzWithhold(f *testing.F) {
	f.Add("Lee", "sleeps, lee LEE lee-lee")
	f.Add("77-1", "77-1 77-1-77-1")
	f.Add("Kelvin", "KELVIN \u212aelvin")
	f.Fuzz(func(t *testing.T, part, text string) {
		part = strings.TrimSpace(part)
		if len([]rune(part)) < 3 || strings.ContainsRune(part, '\uFFFD') || strings.Contains(text, "(withheld)") || overlaps(part) {
			return
		}
		want := text
		for one := regexp.MustCompile(`(?i)(^|[^\pL\pN])` + regexp.QuoteMeta(part) + `($|[^\pL\pN])`); ; {
			next := one.ReplaceAllString(want, "${1}\x00${2}")
			if next == want {
				break
			}
			want = next
		}
		want = strings.ReplaceAll(want, "\x00", Mark)
		if strings.Contains(text+part, "\x00") {
			return
		}
		if got := New(echo.Identity{PatientID: echo.Protected(part)}).From(text); got != want {
			t.Errorf("%q without %q is %q, want %q", text, part, got, want)
		}
	})
}

// overlaps reports whether a part can begin inside itself: then the two differ
// on purpose.
func overlaps(part string) bool {
	runes := []rune(strings.ToLower(part))
	for n := 1; n < len(runes); n++ {
		if string(runes[n:]) == string(runes[:len(runes)-n]) {
			return true
		}
	}
	return false
}

func BenchmarkWithhold(b *testing.B) {
	w := New(echo.Identity{PatientName: "Lee^Ann^Mary^Mrs.", PatientID: "4711-77-1", AccessionNumber: "A20260301"})
	text := strings.Repeat("The annulus leans, mean of four beats; ", 10)
	for b.Loop() {
		w.From(text)
	}
}
