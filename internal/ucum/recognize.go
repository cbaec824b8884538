package ucum

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
)

// Recognize reads the unit of a measurement as scanners send it: a UCUM code,
// or one of the known wrong spellings ("mmHg", "cm^2", "bpm", "no units"), in
// which case alias is true and must be reported.
//
// Under the scheme UCUM the code value decides and the meaning is only looked
// at when the value cannot be read. Under any other scheme the code value is a
// name its maker chose: value and meaning must not contradict each other, and a
// number or a single letter is a key that only the meaning explains. An absent
// unit is an error.
func Recognize(codeValue, codingSchemeDesignator, codeMeaning string) (u Unit, alias bool, err error) {
	value, meaning := tidy(codeValue), tidy(codeMeaning)
	if value == "" && meaning == "" {
		return Unit{}, false, errors.New("no unit is given")
	}
	scheme := tidy(codingSchemeDesignator)
	if scheme == "UCUM" {
		if _, misread := misread[value]; !misread {
			if u, err := Parse(value); err == nil && !strings.Contains(value, brokenPower) {
				return u, false, nil
			}
		}
	}
	byValue, valueRead := spelled(value)
	byMeaning, meaningRead := spelled(meaning)
	foreign := !strings.EqualFold(scheme, "UCUM") && scheme != ""
	if foreign && (len(value) == 1 || isDigit((value + "0")[0]) || capitalAndNumber.MatchString(value)) {
		valueRead = false // "1", "m" or "U-17" is a key, not a unit
	}
	switch {
	case foreign && valueRead && meaningRead && !byValue.Same(byMeaning):
		return Unit{}, false, fmt.Errorf("unit %s of scheme %s means %s: these contradict each other", quote(value), quote(scheme), quote(meaning))
	case meaningRead && (!valueRead || foreign):
		return byMeaning, true, nil
	case valueRead:
		return byValue, true, nil
	}
	return Unit{}, false, fmt.Errorf("unit %s (%s, %s) is neither UCUM nor a known spelling", quote(value), quote(scheme), quote(meaning))
}

var capitalAndNumber = regexp.MustCompile(`^[A-Z][-+]?\d+$`)

// tidy drops padding.
func tidy(s string) string { return strings.Trim(s, " \x00\t\r\n") }

// misread holds texts that are UCUM by the letter, but as megalitre, gigametre,
// megametre and megasecond nobody can have meant.
var misread = map[string]string{"ML": "mL", "Gm": "g", "Mm": "mm", "Ms": "ms"}

// spelled reads a UCUM code or a known spelling of one.
func spelled(text string) (Unit, bool) {
	if text == "" || len(text) > maxCode {
		return Unit{}, false
	}
	if code, ok := misread[text]; ok {
		text = code
	}
	if u, err := Parse(text); err == nil {
		return u, true
	}
	if code, ok := phrases[squeeze(text)]; ok {
		return known(code), true
	}
	text = operators.Replace(text)
	for _, code := range []string{strings.ReplaceAll(text, " ", "."), strings.ReplaceAll(text, " ", "")} {
		if u, err := Parse(respell(code)); err == nil {
			return u, true
		}
	}
	return Unit{}, false
}

// known parses a code of the tables below.
func known(code string) Unit {
	u, err := Parse(code)
	if err != nil {
		panic("internal error: " + err.Error())
	}
	return u
}

// squeeze folds case and drops spaces, the key of the table of phrases.
func squeeze(s string) string { return strings.ReplaceAll(strings.ToLower(s), " ", "") }

// phrases are spellings of a whole unit.
var phrases = map[string]string{
	"nounits": "1", "nounit": "1", "unitless": "1", "dimensionless": "1", "ratio": "1", "[ratio]": "1",
	"bpm": "{H.B.}/min", "beatsperminute": "{H.B.}/min", "heartbeatsperminute": "{H.B.}/min", "{h.b.}/min": "{H.B.}/min", "perminute": "/min",
	"percent": "%", "percentage": "%", "pct": "%", "{pct}": "%", "°": "deg",
	"wu": "[wood'U]", "w.u.": "[wood'U]", "wood": "[wood'U]", "woodu": "[wood'U]", "woodunit": "[wood'U]", "woodunits": "[wood'U]", "wood'u": "[wood'U]", "wood'sunits": "[wood'U]",
	"wu.m2": "[wood'U].m2", "wu*m2": "[wood'U].m2", "woodunits*m2": "[wood'U].m2", "woodunits.m2": "[wood'U].m2",
	"p.r.u.": "[PRU]", "p.r.u./m2": "[PRU]/m2",
	"g/m^2.7": "g/m2.7", "gm/m2.7": "g/m2.7", "gm/m^2.7": "g/m2.7",
}

// operators turns signs that are not UCUM into the UCUM ones.
var operators = strings.NewReplacer(
	"²", "2", "³", "3", "⁴", "4", "⁵", "5", "⁻", "-", "¹", "1", "**", "", "^", "", "µ", "u", "μ", "u", "·", ".", "•", ".", "×", ".", "⋅", ".", "*", ".",
	"−", "-", " per ", "/", " Per ", "/", " PER ", "/", "°", "deg",
	"mm Hg", "mmHg", "mm HG", "mmHg", "MM HG", "mmHg", "mm hg", "mmHg", "cm H2O", "cmH2O",
)

// words are spellings of one symbol, by lower case.
var words = map[string]string{
	"mmhg": "mm[Hg]", "mm[hg]": "mm[Hg]", "cmh2o": "cm[H2O]", "cm[h2o]": "cm[H2O]", "kpa": "kPa", "pa": "Pa",
	"m": "m", "meter": "m", "metre": "m", "cm": "cm", "centimeter": "cm", "centimetre": "cm", "mm": "mm", "millimeter": "mm", "millimetre": "mm",
	"um": "um", "micrometer": "um", "micrometre": "um", "in": "[in_i]", "inch": "[in_i]", "inches": "[in_i]", "sqcm": "cm2", "ft": "[ft_i]", "foot": "[ft_i]", "feet": "[ft_i]",
	"s": "s", "sec": "s", "second": "s", "ms": "ms", "msec": "ms", "millisecond": "ms", "us": "us", "usec": "us", "microsecond": "us",
	"min": "min", "minute": "min", "h": "h", "hr": "h", "hour": "h", "day": "d", "week": "wk", "month": "mo", "y": "a", "yr": "a", "year": "a",
	"l": "L", "liter": "L", "litre": "L", "ml": "mL", "milliliter": "mL", "millilitre": "mL", "cc": "mL", "ccm": "mL",
	"g": "g", "gm": "g", "gr": "g", "gram": "g", "kg": "kg", "kilogram": "kg", "mg": "mg", "lb": "[lb_av]", "pound": "[lb_av]",
	"beat": "{beat}", "h.b.": "{H.B.}", "hz": "Hz", "hertz": "Hz", "khz": "kHz", "mhz": "MHz", "deg": "deg", "degree": "deg",
	"rad": "rad", "radian": "rad", "dyn": "dyn", "dyne": "dyn", "wu": "[wood'U]", "%": "%",
	"bsa": "", // "mL/m2 BSA": the area is named, not a further factor
}

var wordOrSign = regexp.MustCompile(`\{[^}]*\}|\[[^\]]*\]|%|[A-Za-z]+(?:\[[A-Za-z0-9]+\]|[Hh]2[Oo]\b)?|[0-9]+|.`)

// respell replaces every word of a composed unit by its symbol: "ML/M2",
// "m/sec", "dynes-sec/cm5", "square centimeter".
func respell(text string) string {
	var out strings.Builder
	power := ""
	for _, token := range wordOrSign.FindAllString(text, -1) {
		lower := strings.ToLower(token)
		switch lower {
		case "square", "sq":
			power = "2"
			continue
		case "cubic", "cu":
			power = "3"
			continue
		}
		symbol, ok := words[lower]
		if !ok {
			symbol, ok = words[strings.TrimSuffix(lower, "s")]
		}
		switch {
		case ok:
			out.WriteString(symbol + power)
			power = ""
		case token == "." && power != "": // "square.centimeter"
		default:
			out.WriteString(token)
		}
	}
	return products.ReplaceAllString(strings.TrimSuffix(strings.TrimSuffix(out.String(), "."), "/"), "$1.$2")
}

// products finds a hyphen between two symbols, as in
// dyn-s/cm5.
var products = regexp.MustCompile(`([A-Za-z\]])-([A-Za-z\[])`)
