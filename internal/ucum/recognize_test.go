package ucum

import (
	"strings"
	"testing"
)

// Spellings met in reports, with the unit they mean (PS3.16 lists "no units"
// as a meaning of 1 in TID 1008 and "Kpa" in CID 3500 of 2009).
func TestRecognizeSpellings(t *testing.T) {
	cases := map[string][]string{
		"mm[Hg]":        {"mmHg", "mm Hg", "MMHG", "mmhg", "mm[hg]", "MM[HG]", "mm HG"},
		"/min":          {"BPM", "bpm", "beats/min", "Beats per minute", "1/min", "{H.B.}/min", "/min", "beats/minute", "min-1"},
		"cm2":           {"cm^2", "cm²", "CM2", "sq cm", "square centimeter", "sqcm", "cm**2", "square centimeters"},
		"mL":            {"ml", "mL", "ML", "cc", "milliliter", "cm3", "cubic centimeter"},
		"mL/m2":         {"ml/m²", "ML/M2", "mL/m^2", "ml/m2 BSA", "cc/m2"},
		"m/s":           {"m/sec", "M/S", "meters per second", "m.s-1", "m/second", "m s-1"},
		"cm/s":          {"cm/sec", "CM/S", "cm/s", "centimeter per second"},
		"ms":            {"msec", "MS", "Ms", "millisecond", "milliseconds", "msecs"},
		"s":             {"sec", "secs", "S", "seconds"},
		"%":             {"pct", "percent", "%", "Percent"},
		"1":             {"no units", "No Units", "ratio", "[ratio]", "{ratio}", "unitless", "1"},
		"L/min":         {"l/min", "L/min", "L/MIN", "liters per minute", "l/minute"},
		"L/min/m2":      {"l/min/m2", "L/min/m²", "L/MIN/M2", "l/min/m^2"},
		"kPa":           {"Kpa", "KPA", "kPa"},
		"dyn.s/cm5":     {"dyn.s.cm-5", "dynes-sec/cm5", "dyn*s/cm^5", "dyne sec/cm5", "dyn·s·cm⁻⁵"},
		"dyn.s.cm-5.m2": {"dyn.s.cm-5.m2", "dyn*s*cm-5*m2"},
		"mL/{beat}":     {"mL/beat", "ml/beat"},
		"cm/m2":         {"cm/m²", "CM/M2"},
		"g":             {"gm", "G", "grams", "Gm", "gms"},
		"g/m2":          {"gm/m2", "g/m²", "G/M2"},
		"g/m2.7":        {"g/m2.7", "g/m^2.7", "gm/m2.7"},
		"kg":            {"KG", "Kg", "kilogram"},
		"[lb_av]":       {"lb", "lbs", "pounds"},
		"[in_i]":        {"in", "inches", "inch"},
		"deg":           {"deg", "°", "degrees", "DEG"},
		"[wood'U]":      {"WU", "Wood units", "Wood U", "wood's units", "mmHg.min/L"},
		"mm[Hg]/s":      {"mmHg/s", "mmHg/sec", "mm Hg/s"},
		"cm/s2":         {"cm/s²", "cm/sec2", "cm/s^2"},
		"mL/s":          {"ml/sec", "mL/S"},
		"a":             {"yr", "years", "Y"},
		"MHz":           {"MHZ", "mhz"},
		"mm":            {"MM", "Mm", "millimeters"},
	}
	for code, texts := range cases {
		want := known(code)
		for _, text := range texts {
			t.Run(code+" as "+text, func(t *testing.T) {
				u, alias, err := Recognize(text, "UCUM", "")
				if err != nil {
					t.Fatal(err)
				}
				if !u.Same(want) {
					t.Errorf("read as %s", u)
				}
				_, strict := Parse(text)
				proper := strict == nil && misread[text] == "" && !strings.Contains(text, brokenPower)
				if alias == proper {
					t.Errorf("alias %v, but proper UCUM %v", alias, proper)
				}
				// the same text as meaning of a private code
				u, alias, err = Recognize("U-17", "99MAKER", text)
				if err != nil || !u.Same(want) || !alias {
					t.Errorf("as a meaning: %s, alias %v, %v", u, alias, err)
				}
			})
		}
	}
}

func TestRecognizeSchemes(t *testing.T) {
	cases := []struct {
		name, value, scheme, meaning string
		want                         string // "" for an error
		alias                        bool
	}{
		{"UCUM", "mm[Hg]", "UCUM", "mmHg", "mm[Hg]", false},
		{"padded", "mm[Hg] ", "UCUM ", "mmHg", "mm[Hg]", false},
		{"meaning does not matter under UCUM", "cm", "UCUM", "millimeter", "cm", false},
		{"no units", "1", "UCUM", "no units", "1", false},
		{"scheme in lower case is a departure", "cm", "ucum", "cm", "cm", true},
		{"no scheme", "cm", "", "", "cm", true},
		{"private scheme, UCUM code", "mm", "99dcmjsUnit", "mm", "mm", true},
		{"private scheme, readable value only", "cm2", "99MAKER", "fläche", "cm2", true},
		{"private number, meaning tells", "1", "99MAKER", "mmHg", "mm[Hg]", true},
		{"private number alone tells nothing", "1", "99MAKER", "", "", false},
		{"private letter alone tells nothing", "m", "99MAKER", "mean", "", false},
		{"private letter with meaning", "m", "99MAKER", "meter", "m", true},
		{"private key, meaning tells", "4711", "99MAKER", "cm/s", "cm/s", true},
		{"private value contradicts meaning", "cm", "99MAKER", "mm", "", false},
		{"absent", "", "UCUM", "", "", false},
		{"value absent", "", "", "cm", "cm", true},
		{"unknown", "furlong", "UCUM", "furlong", "", false},
		{"luminance is not read", "sb", "UCUM", "degree Celsius", "", false},
		{"unknown word", "blob", "99MAKER", "blob per minute", "", false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			u, alias, err := Recognize(c.value, c.scheme, c.meaning)
			if (err != nil) != (c.want == "") {
				t.Fatalf("got %s, %v", u, err)
			}
			if err == nil && (u.Code() != c.want || alias != c.alias) {
				t.Errorf("got %s, alias %v", u, alias)
			}
		})
	}
}

// Every entry of the spelling tables leads to a unit.
func TestSpellingTables(t *testing.T) {
	for text, code := range phrases {
		if _, err := Parse(code); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	}
	for text, code := range words {
		if code == "" {
			continue
		}
		if _, err := Parse(code); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	}
	for _, code := range usual {
		if _, err := Parse(code); err != nil {
			t.Error(err)
		}
	}
}

// A unit of UCUM that no echo measurement is in is read all the same.
func TestUnitsOfOtherTrades(t *testing.T) {
	for _, code := range []string{"mV", "uV", "mmol/L", "U/L", "[iU]/L", "Cel", "[degF]", "dB", "[pH]", "[MET]", "kat", "meq/L", "mosm/kg", "cal", "Ohm", "mA", "K", "bit", "mGy"} {
		if u, alias, err := Recognize(code, "UCUM", ""); err != nil || alias || u.Convertible(known("m")) || u.Convertible(known("mm[Hg]")) {
			t.Errorf("%s: alias %t, %v", code, alias, err)
		}
	}
	for _, pair := range [][2]string{{"V", "kg.m2/s3/A"}, {"mol/s", "kat"}, {"umol/min", "U"}, {"[MET]", "mL/min/kg"}} {
		if !known(pair[0]).Convertible(known(pair[1])) {
			t.Errorf("%s does not convert to %s", pair[0], pair[1])
		}
	}
	if known("Cel").Convertible(known("K")) || known("Cel").Convertible(known("[degF]")) {
		t.Error("a scale with another zero is converted by a factor")
	}
	if f, err := known("[MET]").FactorTo(known("mL/min/kg")); err != nil || f.RatString() != "7/2" {
		t.Errorf("[MET]: %v %v", f, err)
	}
	if !known("umol/min").Same(known("U")) || !known("V").Same(known("kg.m2/s3/A")) {
		t.Error("a derived unit has another size")
	}
}
