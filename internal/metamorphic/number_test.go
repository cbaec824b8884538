package metamorphic

import (
	"math"
	"math/big"
	"strconv"
	"strings"

	"echotally/internal/dcm"
)

// numberings are transformations of numbers and units.
func numberings() []transformation {
	out := []transformation{
		{name: "numbers with a plus", apply: decimals(func(n string) string {
			if n[0] == '-' || n[0] == '+' {
				return n
			}
			return "+" + n
		})},
		{name: "numbers with exponents", apply: decimals(func(n string) string {
			if strings.ContainsAny(n, "eE") {
				return n
			}
			return n + "E0"
		})},
		{name: "numbers with moved exponents", apply: decimals(func(n string) string {
			if strings.ContainsAny(n, "eE") || !strings.Contains(n, ".") {
				return n
			}
			return shift(n, 1) + "E-1"
		})},
		{name: "numbers padded", apply: decimals(func(n string) string { return "  " + n + " " })},
		{name: "numbers with leading zeros", apply: decimals(func(n string) string {
			if n[0] == '-' || n[0] == '+' {
				return n
			}
			return "00" + n
		})},
		{name: "a further number in binary", apply: withBinary},
		{name: "regurgitant velocities negative", apply: negated},
		{name: "units described otherwise", apply: reunit(func(n *node) bool { n.unit.meaning = "Einheit"; return true })},
		{name: "a version of UCUM", apply: reunit(func(n *node) bool {
			n.unit.more = []dcm.Element{dcm.Strings(dcm.T(0x00080103), "1.4")}
			return true
		})},
	}
	for _, u := range []struct {
		name, from, to string
		digits         int // the decimal point moves to the right
	}{
		{"m/s as cm/s", "m/s", "cm/s", 2},
		{"cm/s as m/s", "cm/s", "m/s", -2},
		{"cm as mm", "cm", "mm", 1},
		{"mm as cm", "mm", "cm", -1},
		{"cm2 as mm2", "cm2", "mm2", 2},
		{"mmHg as mm[Hg]", "mmHg", "mm[Hg]", 0},
		{"mm[Hg] as mmHg", "mm[Hg]", "mmHg", 0},
		{"mL spelled with a capital", "ml", "mL", 0},
		{"mL as L", "ml", "l", -3},
		{"ms as s", "ms", "s", -3},
		{"L/min spelled with a capital", "l/min", "L/min", 0},
		{"L/min as mL/min", "l/min", "ml/min", 3},
		{"1 as {ratio}", "1", "{ratio}", 0},
		{"g as kg", "g", "kg", -3},
		{"cm as m", "cm", "m", -2},
		{"heart beats as bpm", "{H.B.}/min", "bpm", 0},
		{"heart beats as /min", "{H.B.}/min", "/min", 0},
		{"% as 1", "%", "1", -2},
	} {
		out = append(out, transformation{name: u.name, digits: u.digits != 0, apply: reunit(func(n *node) bool {
			if n.unit.value != u.from {
				return false
			}
			moved := shift(n.number, u.digits)
			if moved == "" {
				return false
			}
			n.number = moved
			n.unit = &concept{value: u.to, scheme: "UCUM", meaning: u.to}
			return true
		})})
	}
	return out
}

// shift moves the decimal point to the right, exactly and with the same last
// digit; "" when that takes more digits than there are, or more than a DS holds.
func shift(number string, digits int) string {
	mantissa := strings.TrimSpace(number)
	if i := strings.IndexAny(mantissa, "eE"); i >= 0 {
		e, err := strconv.Atoi(mantissa[i+1:])
		if err != nil {
			return ""
		}
		mantissa, digits = mantissa[:i], digits+e
	}
	r, ok := new(big.Rat).SetString(mantissa)
	if !ok {
		return ""
	}
	decimals := 0
	if _, after, found := strings.Cut(mantissa, "."); found {
		decimals = len(after)
	}
	if decimals < digits {
		return ""
	}
	ten := new(big.Rat).SetFloat64(math.Pow(10, math.Abs(float64(digits))))
	if digits < 0 {
		ten.Inv(ten)
	}
	out := r.Mul(r, ten).FloatString(decimals - digits)
	if len(out) > 16 {
		return ""
	}
	return out
}

func decimals(spell func(string) string) func(*bench, *study) bool {
	return func(_ *bench, s *study) (done bool) {
		for _, n := range s.numbers() {
			if n.number == "" || n.number[0] == ' ' {
				continue
			}
			if spelled := spell(n.number); spelled != n.number && len(strings.TrimSpace(spelled)) <= 16 {
				n.number, done = spelled, true
			}
		}
		return done
	}
}

func reunit(change func(*node) bool) func(*bench, *study) bool {
	return func(_ *bench, s *study) (done bool) {
		for _, n := range s.numbers() {
			if n.unit != nil && n.number != "" {
				done = change(n) || done
			}
		}
		return done
	}
}

// withBinary adds the Floating Point Value (0040,A161) of the same number.
func withBinary(_ *bench, s *study) bool {
	for _, n := range s.numbers() {
		n.binary = true
	}
	return true
}

func negated(_ *bench, s *study) (done bool) {
	for _, n := range s.numbers() {
		if strings.Contains(n.measurand, "-regurgitation-") && strings.HasSuffix(n.measurand, "-velocity") && !strings.Contains(n.measurand, "pisa") &&
			n.number != "" && !strings.Contains(n.number, "-") {
			n.number, done = "-"+strings.TrimPrefix(strings.TrimSpace(n.number), "+"), true
		}
	}
	return done
}
