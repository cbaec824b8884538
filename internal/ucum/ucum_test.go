package ucum

import (
	"math"
	"math/big"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func exact(t *testing.T, s string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatal(s)
	}
	return r
}

// The value of every atom as the UCUM tables define it, in another unit of the
// same table (ucum-essence.xml version 2.1, element "value").
func TestDefinitions(t *testing.T) {
	cases := []struct{ atom, value, unit string }{
		{"10*", "10", "1"}, {"10^", "10", "1"}, {"%", "1", "10*-2"}, {"[ppth]", "1", "10*-3"}, {"[ppm]", "1", "10*-6"},
		{"[pi]", "3.1415926535897932384626433832795028841971693993751058209749445923", "1"},
		{"min", "60", "s"}, {"h", "60", "min"}, {"d", "24", "h"}, {"wk", "7", "d"},
		{"a_j", "365.25", "d"}, {"a_g", "365.2425", "d"}, {"a", "1", "a_j"}, {"mo_j", "1", "a_j/12"}, {"mo", "1", "mo_j"},
		{"Hz", "1", "s-1"}, {"N", "1", "kg.m/s2"}, {"Pa", "1", "N/m2"}, {"J", "1", "N.m"}, {"W", "1", "J/s"},
		{"l", "1", "dm3"}, {"L", "1", "l"}, {"ar", "100", "m2"}, {"t", "1000", "kg"}, {"deg", "2", "[pi].rad/360"},
		{"dyn", "1", "g.cm/s2"}, {"erg", "1", "dyn.cm"}, {"bar", "100000", "Pa"}, {"atm", "101325", "Pa"},
		{"m[Hg]", "133.3220", "kPa"}, {"m[H2O]", "9.80665", "kPa"}, {"[PRU]", "1", "mm[Hg].s/ml"}, {"[wood'U]", "1", "mm[Hg].min/L"},
		{"[in_i]", "2.54", "cm"}, {"[ft_i]", "12", "[in_i]"}, {"[lb_av]", "0.45359237", "kg"}, {"[oz_av]", "1", "[lb_av]/16"},
		{"A", "1", "C/s"}, {"V", "1", "J/C"}, {"Ohm", "1", "V/A"},
		{"mol", "602213670000000000000000", "1"}, {"eq", "1", "mol"}, {"osm", "1", "mol"}, {"kat", "1", "mol/s"}, {"U", "1", "umol/min"},
		{"cal", "4.184", "J"}, {"Gy", "1", "J/kg"}, {"Sv", "1", "J/kg"}, {"Bq", "1", "s-1"}, {"bit", "1", "1"}, {"By", "8", "bit"},
		{"[MET]", "3.5", "mL/min/kg"}, {"[IU]", "1", "[iU]"},
	}
	tested := map[string]bool{"m": true, "g": true, "s": true, "rad": true, "1": true, brokenPower: true, // base units
		"C": true, "K": true, "cd": true, "Cel": true, "[degF]": true, "B": true, "Np": true, "[pH]": true, "[iU]": true, "[arb'U]": true} // and scales
	for _, c := range cases {
		tested[c.atom] = true
		got, err := known(c.atom).FactorTo(known(c.unit))
		if err != nil {
			t.Errorf("%s: %v", c.atom, err)
		} else if got.Cmp(exact(t, c.value)) != 0 {
			t.Errorf("%s is %s %s, want %s", c.atom, got.RatString(), c.unit, c.value)
		}
	}
	for a := range atoms {
		if !tested[a] {
			t.Errorf("%s: no definition compared", a)
		}
	}
}

// Magnitudes computed by an independent implementation of UCUM (ucum-lhc
// 7.1.10 of the US National Library of Medicine), in m, g, s.
func TestMagnitudes(t *testing.T) {
	for code, want := range map[string]float64{
		"mm[Hg]": 133322, "cm[H2O]": 98066.5, "Pa": 1000, "bar": 1e8, "dyn": 0.01, "[in_i]": 0.0254, "[lb_av]": 453.59237,
		"[wood'U]": 7999320000, "[PRU]": 133322000000, "a": 31557600, "mo": 2629800, "deg": 0.017453292519943295,
		"mm[Hg].min/L": 7999320000, "dyn.s/cm5": 1e8, "dyn.s.cm-5.m2": 1e8, "kg/m2": 1000, "[oz_av]": 28.349523125,
		"{H.B.}/min": 1.0 / 60, "10*3": 1000, "{circ}/s": 1, "erg": 0.0001,
	} {
		got, _ := known(code).rat().Float64()
		if math.Abs(got/want-1) > 1e-14 {
			t.Errorf("%s: %v, want %v", code, got, want)
		}
	}
}

func TestConversions(t *testing.T) {
	cases := []struct{ value, from, to, want string }{
		{"290", "cm/s", "m/s", "2.90"},
		{"2.9", "m/s", "cm/s", "290"},
		{"36", "mm[Hg]", "kPa", "4.8"},
		{"1", "L/min", "mL/s", "17"},
		{"0.062", "L", "mL", "62"},
		{"1", "m[Hg]", "mm[Hg]", "1000"},
		{"80", "[wood'U]", "dyn.s/cm5", "6399"},
		{"60", "%", "1", "0.60"},
		{"180", "[lb_av]", "kg", "81.6"},
		{"70.5", "[in_i]", "cm", "179.1"},
		{"3", "mo", "a", "0.25"},
		{"72", "{H.B.}/min", "Hz", "1.20"},
		{"45", "deg", "deg", "45"},
		{"5", "mm", "mm", "5"},
		{"2500", "mm2", "cm2", "25.00"},
	}
	for _, c := range cases {
		t.Run(c.value+" "+c.from+" in "+c.to, func(t *testing.T) {
			d, _, err := ParseDecimal(c.value)
			if err != nil {
				t.Fatal(err)
			}
			q, err := Quantity{d, known(c.from)}.To(known(c.to))
			if err != nil {
				t.Fatal(err)
			}
			if q.Value.Text() != c.want {
				t.Errorf("got %s (%s), want %s", q.Value.Text(), q.Value.Rat().FloatString(6), c.want)
			}
		})
	}
	if _, err := known("mm[Hg]").FactorTo(known("cm")); err == nil || !strings.Contains(err.Error(), "mm[Hg] cannot be converted to cm") {
		t.Errorf("mm[Hg] to cm: %v", err)
	}
	if _, err := known("g/m2.7").FactorTo(known("g/m2")); err == nil {
		t.Error("g/m2.7 converts to g/m2")
	}
}

func TestParseRefuses(t *testing.T) {
	for name, code := range map[string]string{
		"empty": "", "unknown atom": "mmHg", "wrong case": "CM", "prefix on a non-metric unit": "kmin", "prefix twice": "mmm",
		"open parenthesis": "m/(s", "closing parenthesis": "m)", "exponent on a parenthesis": "(m/s)2", "open annotation": "{x",
		"open bracket": "m[Hg", "trailing operator": "m/", "double operator": "m//s", "space": "mm [Hg]", "caret": "cm^2",
		"sign without digits": "m-", "factor nought": "0.m", "high exponent": "m1000", "not ASCII": "µm", "deep": strings.Repeat("(", 20) + "m" + strings.Repeat(")", 20),
		"long": strings.Repeat("m.", 40) + "m", "luminance": "sb", "half a bracket": "m]",
	} {
		if u, err := Parse(code); err == nil {
			t.Errorf("%s: %q read as %v", name, code, u)
		}
	}
}

func TestParseForms(t *testing.T) {
	for _, c := range [][2]string{
		{"/min", "min-1"}, {"1/min", "min-1"}, {"m.s-1", "m/s"}, {"kg.m/s2", "N"}, {"mm[Hg]/(m2/s2)", "mm[Hg].s2/m2"},
		{"m/s.kg", "m.kg/s"}, {"{ratio}", "1"}, {"10*3", "1000"}, {"10*-2", "%"}, {"m+2", "m2"}, {"ml{beat}/m2", "mL/m2"},
		{"mL/({beat}.m2)", "mL/m2"}, {"60.s", "min"}, {"dyn.s.cm-5", "dyn.s/cm5"}, {"cm3", "mL"}, {"g/m2.70", "70.g/m2"},
	} {
		if !known(c[0]).Same(known(c[1])) {
			t.Errorf("%s is not %s", c[0], c[1])
		}
	}
	if known("min").Same(known("m[H2O]")) {
		t.Error("min is m[H2O]")
	}
}

func TestCompose(t *testing.T) {
	u := known
	cases := []struct {
		name string
		got  Unit
		code string
	}{
		{"area by length", u("cm2").Mul(u("cm")), "mL"},
		{"gradient by squared velocity", u("mm[Hg]").Div(u("m/s").Pow(2)), "mm[Hg].s2/m2"},
		{"and back", u("mm[Hg].s2/m2").Mul(u("m/s").Pow(2)), "mm[Hg]"},
		{"volume by rate", u("mL").Mul(u("{H.B.}/min")), "mL/min"},
		{"litres by rate", u("L").Mul(u("{H.B.}/min")), "L/min"},
		{"indexed", u("L/min").Div(u("m2")), "L/min/m2"},
		{"resistance", u("mm[Hg]").Div(u("L/min")), "[wood'U]"},
		{"velocity from length and time", u("cm").Div(u("s")), "cm/s"},
		{"equal units cancel", u("cm").Div(u("cm")), "1"},
		{"unlike lengths stay", u("cm").Div(u("mm")), "cm/mm"},
		{"nothing", Unit{}.Mul(Unit{}), "1"},
		{"power nought", u("cm").Pow(0), "1"},
		{"inverse", u("s").Pow(-1), "/s"},
		{"broken power", u("g").Div(u("m2.7")), "g/m2.7"},
		{"broken power, twice", u("m2.7").Pow(2), "m2.7.m2.7"},
		{"number", u("60.s").Pow(2), "60.60.s2"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if c.got.Code() != c.code {
				t.Errorf("got %s, want %s", c.got, c.code)
			}
			if !known(c.got.Code()).Same(c.got) {
				t.Errorf("%s does not read back as itself", c.got)
			}
		})
	}
}

func TestDisplay(t *testing.T) {
	for code, want := range map[string]string{
		"mm[Hg]": "mmHg", "cm2": "cm²", "ml/m2": "mL/m²", "L/min/m2": "L/min/m²", "1": "", "{ratio}": "", "%": "%", "deg": "°",
		"{H.B.}/min": "beats/min", "/min": "/min", "dyn.s/cm5": "dyn·s/cm⁵", "dyn.s.cm-5": "dyn·s·cm⁻⁵", "[wood'U].m2": "WU·m²",
		"g/m2.7": "g/m^2.7", "a": "years", "um": "µm", "10*3/mm3": "10³/mm³", "mm[Hg].s2/m2": "mmHg·s²/m²", "mm[Hg]/s": "mmHg/s",
		"[lb_av]": "lb", "m/s2": "m/s²",
	} {
		if got := known(code).Display(); got != want {
			t.Errorf("%s shown as %q, want %q", code, got, want)
		}
	}
	d, _, _ := ParseDecimal("36")
	if got := (Quantity{d, known("mm[Hg]")}).String(); got != "36 mmHg" {
		t.Error(got)
	}
	if got := (Quantity{d, known("%")}).String(); got != "36%" {
		t.Error(got)
	}
}

// Converting there and back gives the same number, whatever the units.
func TestRoundTrip(t *testing.T) {
	groups := [][]string{
		{"m/s", "cm/s", "mm/s", "[in_i]/min"}, {"mL", "L", "cm3", "mm3", "[in_i]3"}, {"mm[Hg]", "kPa", "cm[H2O]", "bar", "dyn/cm2"},
		{"s", "ms", "min", "a"}, {"deg", "rad"}, {"[wood'U]", "dyn.s/cm5", "[PRU]"}, {"%", "1", "[ppm]"},
	}
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SampledFrom(groups).Draw(t, "group")
		a, b := known(rapid.SampledFrom(g).Draw(t, "from")), known(rapid.SampledFrom(g).Draw(t, "to"))
		f := rapid.Float32Range(-1e6, 1e6).Draw(t, "value")
		d, err := FromFloat(float64(f))
		if err != nil {
			t.Fatal(err)
		}
		there, err := Quantity{d, a}.To(b)
		if err != nil {
			t.Fatal(err)
		}
		back, err := there.In(a)
		if err != nil {
			t.Fatal(err)
		}
		if back.Cmp(d.Rat()) != 0 {
			t.Fatalf("%v %s to %s and back is %v", d.Text(), a, b, back)
		}
	})
}

// Products and quotients keep dimension and factor: (a*b)/b is a.
func TestComposeInverse(t *testing.T) {
	codes := []string{"cm", "m/s", "mm[Hg]", "L/min", "/min", "g/m2.7", "dyn.s/cm5", "%", "10*3", "m2.kg/s3", "deg", "60.s"}
	rapid.Check(t, func(t *rapid.T) {
		a, b := known(rapid.SampledFrom(codes).Draw(t, "a")), known(rapid.SampledFrom(codes).Draw(t, "b"))
		n := rapid.IntRange(-3, 3).Draw(t, "n")
		if got := a.Mul(b.Pow(n)).Div(b.Pow(n)); !got.Same(a) {
			t.Fatalf("%s * %s^%d / %s^%d is %s", a, b, n, b, n, got)
		}
	})
}

func TestParseDecimal(t *testing.T) {
	cases := []struct {
		text, value, half string
		notes             int
	}{
		{"3.0", "3", "0.05", 0}, {"36", "36", "0.5", 0}, {"1e2", "100", "50", 0}, {" 2.90 ", "2.9", "0.005", 0}, {"+4", "4", "0.5", 0},
		{"-18.5", "-18.5", "0.05", 0}, {"007", "7", "0.5", 0}, {"1.5E-05", "0.000015", "0.0000005", 0}, {".5", "0.5", "0.05", 0}, {"5.", "5", "0.5", 0},
		{"4.2141821355915", "4.2141821355915", "0.00000000000005", 0}, {"3,5", "3.5", "0.05", 1}, {"12\x00", "12", "0.5", 1},
		{"0.12345678901234567890", "0.1234567890123456789", "0.000000000000000000005", 1}, {"0", "0", "0.5", 0}, {"120", "120", "0.5", 0},
	}
	for _, c := range cases {
		t.Run(c.text, func(t *testing.T) {
			d, notes, err := ParseDecimal(c.text)
			if err != nil {
				t.Fatal(err)
			}
			if d.Rat().Cmp(exact(t, c.value)) != 0 || d.HalfStep().Cmp(exact(t, c.half)) != 0 || len(notes) != c.notes {
				t.Errorf("value %s, half step %s, notes %q", d.Rat().RatString(), d.HalfStep().RatString(), notes)
			}
		})
	}
	for _, bad := range []string{"", "  ", "NaN", "inf", "-Infinity", "1,234.5", "1,2,3", "12a", "--3", "+-3", ".", "+", "e5", "1e", "1e999999999", "1e5.5", "0x10", "1_000", "1/3", "1 2", strings.Repeat("1", 100)} {
		if d, _, err := ParseDecimal(bad); err == nil {
			t.Errorf("%q read as %s", bad, d.Rat().RatString())
		}
	}
}

func TestFromFloat(t *testing.T) {
	d, err := FromFloat(2.9000000953674316) // 2.9 in single precision, widened
	if err != nil || d.Text() != "2.9" || d.Rat().Cmp(big.NewRat(29, 10)) != 0 {
		t.Errorf("got %v, %v", d, err)
	}
	d, err = FromFloat(2.9) // double precision
	if err != nil || d.Text() != "2.9" || d.HalfStep().Cmp(big.NewRat(1, 1<<40)) > 0 {
		t.Errorf("got %v, %v", d, err)
	}
	for _, f := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if _, err := FromFloat(f); err == nil {
			t.Errorf("%v read", f)
		}
	}
	if d, err := FromFloat(0); err != nil || d.HalfStep().Sign() != 0 {
		t.Errorf("nought: %v, %v", d, err)
	}
}

// A number is what the standard library reads from the same text, as fraction
// and as float, however many digits it has.
func TestDecimalIsWhatTheTextSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[+-]?[0-9]{1,20}(\.[0-9]{1,20})?`).Draw(t, "text")
		d, _, err := ParseDecimal(text)
		if err != nil {
			t.Fatal(err)
		}
		want, _ := new(big.Rat).SetString(text)
		float, _ := strconv.ParseFloat(text, 64)
		_, fraction, _ := strings.Cut(text, ".")
		half, _ := new(big.Rat).SetString("0.5e-" + strconv.Itoa(len(fraction)))
		if d.Rat().Cmp(want) != 0 || d.Float() != float || d.HalfStep().Cmp(half) != 0 {
			t.Fatalf("%s: %s, %v, half step %s", text, d.Rat(), d.Float(), d.HalfStep())
		}
		if step, _ := half.Float64(); d.HalfStepFloat() != step {
			t.Fatalf("%s: half step %v as a float, want %v", text, d.HalfStepFloat(), step)
		}
		if again, err := ParseExact(d.Exact()); err != nil || !reflect.DeepEqual(again, d) {
			t.Fatalf("%s is not the same again: %v", text, err)
		}
	})
}

// Moving the point gives what exact arithmetic gives, text and half step too.
func TestShiftedIsExact(t *testing.T) {
	units := []string{"m/s", "cm/s", "mm/s", "m", "cm", "mm", "um", "s", "ms", "mL", "L", "cm3", "m2", "cm2", "%", "1", "kg", "g", "min", "mm[Hg]", "kPa"}
	numbers := []string{"0", "0.0", "00", "1", "2.9", "290", "0.05", "005.10", "+7", "-3.2", "-0", "1e2", "2,9", "123456789012345", "12345678901234", "0.00000000000001", "999999999.99999"}
	tried := 0
	for _, from := range units {
		for _, to := range units {
			u, err := Parse(from)
			if err != nil {
				t.Fatal(err)
			}
			v, err := Parse(to)
			if err != nil {
				t.Fatal(err)
			}
			if from == to || !u.Convertible(v) {
				continue
			}
			for _, text := range numbers {
				d, _, err := ParseDecimal(text)
				if err != nil {
					t.Fatal(err)
				}
				q := Quantity{Value: d, Unit: u}
				got, ok := q.shifted(v)
				if !ok {
					continue
				}
				tried++
				factor, err := u.FactorTo(v)
				if err != nil {
					t.Fatal(err)
				}
				want := converted(new(big.Rat).Mul(factor, d.Rat()), new(big.Rat).Mul(factor, d.HalfStep()))
				if got.Text() != want.Text() || got.Rat().Cmp(want.Rat()) != 0 || got.HalfStep().Cmp(want.HalfStep()) != 0 || got.Exact() != want.Exact() {
					t.Errorf("%s %s in %s: %q (%v, %v), exactly %q (%v, %v)", text, from, to, got.Text(), got.Rat(), got.HalfStep(), want.Text(), want.Rat(), want.HalfStep())
				}
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d tried", tried)
	}
}
