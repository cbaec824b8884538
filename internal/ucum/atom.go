package ucum

import "math/big"

// atom is one unit symbol: its factor to m, g, s, rad and its dimension.
type atom struct {
	factor string // rational or decimal
	dim    Dimension
	metric bool // takes prefixes
}

var (
	length   = Dimension{Length: 1}
	area     = Dimension{Length: 2}
	volume   = Dimension{Length: 3}
	mass     = Dimension{Mass: 1}
	duration = Dimension{Time: 1}
	rate     = Dimension{Time: -1}
	angle    = Dimension{Angle: 1}
	force    = Dimension{Length: 1, Mass: 1, Time: -2}
	pressure = Dimension{Length: -1, Mass: 1, Time: -2}
	energy   = Dimension{Length: 2, Mass: 1, Time: -2}
	power    = Dimension{Length: 2, Mass: 1, Time: -3}
	// resistance of a vascular bed: pressure over volume flow
	resistance = Dimension{Length: -4, Mass: 1, Time: -1}
)

// pi as the UCUM table prints it.
const pi = "3.1415926535897932384626433832795028841971693993751058209749445923"

// atoms is the part of the UCUM tables (version 2.1, ucum-essence.xml) that is
// read; the definition as UCUM gives it stands beside each.
var atoms = map[string]atom{
	"m":   {"1", length, true},   // base unit
	"g":   {"1", mass, true},     // base unit
	"s":   {"1", duration, true}, // base unit
	"rad": {"1", angle, true},    // base unit
	"1":   {"1", Dimension{}, false},

	"10*":    {"10", Dimension{}, false},       // the number ten
	"10^":    {"10", Dimension{}, false},       // the number ten
	"[pi]":   {pi, Dimension{}, false},         // as printed
	"%":      {"0.01", Dimension{}, false},     // 10*-2
	"[ppth]": {"0.001", Dimension{}, false},    // 10*-3
	"[ppm]":  {"0.000001", Dimension{}, false}, // 10*-6

	"min":      {"60", duration, false},             // 60 s
	"h":        {"3600", duration, false},           // 60 min
	"d":        {"86400", duration, false},          // 24 h
	"wk":       {"604800", duration, false},         // 7 d
	"mo":       {"2629800", duration, false},        // mo_j = a_j/12
	"mo_j":     {"2629800", duration, false},        // a_j/12
	"a":        {"31557600", duration, false},       // a_j
	"a_j":      {"31557600", duration, false},       // 365.25 d
	"a_g":      {"31556952", duration, false},       // 365.2425 d
	"Hz":       {"1", rate, true},                   // s-1
	"l":        {"1/1000", volume, true},            // dm3
	"L":        {"1/1000", volume, true},            // l
	"ar":       {"100", area, true},                 // 100 m2
	"t":        {"1000000", mass, true},             // 1e3 kg
	"deg":      {"", angle, false},                  // 2 [pi].rad/360, see below
	"N":        {"1000", force, true},               // kg.m/s2
	"Pa":       {"1000", pressure, true},            // N/m2
	"J":        {"1000", energy, true},              // N.m
	"W":        {"1000", power, true},               // J/s
	"dyn":      {"0.01", force, true},               // g.cm/s2
	"erg":      {"0.0001", energy, true},            // dyn.cm
	"bar":      {"100000000", pressure, true},       // 1e5 Pa
	"atm":      {"101325000", pressure, false},      // 101325 Pa
	"m[Hg]":    {"133322000", pressure, true},       // 133.3220 kPa
	"m[H2O]":   {"9806650", pressure, true},         // 9.80665 kPa
	"[PRU]":    {"133322000000", resistance, false}, // mm[Hg].s/ml
	"[wood'U]": {"7999320000", resistance, false},   // mm[Hg].min/L
	"[in_i]":   {"0.0254", length, false},           // 2.54 cm
	"[ft_i]":   {"0.3048", length, false},           // 12 [in_i]
	"[lb_av]":  {"453.59237", mass, false},          // 7000 [gr], [gr] = 64.79891 mg
	"[oz_av]":  {"28.349523125", mass, false},       // [lb_av]/16

	// What no echo measurement is in, but other numbers of a report may be.
	"C":       {"1", Dimension{Charge: 1}, true},                                   // base unit
	"K":       {"1", Dimension{Temperature: 1}, true},                              // base unit
	"cd":      {"1", Dimension{Light: 1}, true},                                    // base unit
	"A":       {"1", Dimension{Charge: 1, Time: -1}, true},                         // C/s
	"V":       {"1000", Dimension{Length: 2, Mass: 1, Time: -2, Charge: -1}, true}, // J/C
	"Ohm":     {"1000", Dimension{Length: 2, Mass: 1, Time: -1, Charge: -2}, true}, // V/A
	"mol":     {"602213670000000000000000", Dimension{}, true},                     // 6.0221367 10*23
	"eq":      {"602213670000000000000000", Dimension{}, true},                     // 1 mol
	"osm":     {"602213670000000000000000", Dimension{}, true},                     // 1 mol
	"kat":     {"602213670000000000000000", rate, true},                            // mol/s
	"U":       {"10036894500000000", rate, true},                                   // umol/min
	"cal":     {"4184", energy, true},                                              // 4.184 J
	"Gy":      {"1", Dimension{Length: 2, Time: -2}, true},                         // J/kg
	"Sv":      {"1", Dimension{Length: 2, Time: -2}, true},                         // J/kg
	"Bq":      {"1", rate, true},                                                   // s-1
	"bit":     {"1", Dimension{}, false},                                           // 1
	"By":      {"8", Dimension{}, true},                                            // 8 bit
	"Cel":     {"1", Dimension{Special: 1}, true},
	"[degF]":  {"1", Dimension{Special: 3}, false},
	"B":       {"1", Dimension{Special: 9}, true},
	"Np":      {"1", Dimension{Special: 11}, true},
	"[pH]":    {"1", Dimension{Special: 17}, false},
	"[iU]":    {"1", Dimension{Special: 27}, true},
	"[IU]":    {"1", Dimension{Special: 27}, true},
	"[arb'U]": {"1", Dimension{Special: 31}, false},
	"[MET]":   {"7/120000000000", Dimension{Length: 3, Mass: -1, Time: -1}, false}, // 3.5 mL/min/kg

	brokenPower: {"1", Dimension{BrokenPower: 1}, false}, // not UCUM, see the package comment
}

const brokenPower = "m2.7"

// prefixes of UCUM table 1; "da" before "d" matters to nobody, as no atom
// starts with "a" after "d".
var prefixes = map[string]string{
	"T": "1000000000000", "G": "1000000000", "M": "1000000", "k": "1000", "h": "100", "da": "10",
	"d": "1/10", "c": "1/100", "m": "1/1000", "u": "1/1000000", "n": "1/1000000000", "p": "1/1000000000000",
}

// lookup returns factor and dimension of a symbol with or without prefix. A
// symbol that is an atom as a whole is that atom: "min" is no milli-inch.
func lookup(symbol string) (*big.Rat, Dimension, bool) {
	if a, ok := atoms[symbol]; ok {
		return a.rat(symbol), a.dim, true
	}
	for n := 1; n <= 2 && n < len(symbol); n++ {
		p, ok := prefixes[symbol[:n]]
		if !ok {
			continue
		}
		if a, ok := atoms[symbol[n:]]; ok && a.metric {
			return new(big.Rat).Mul(rational(p), a.rat(symbol[n:])), a.dim, true
		}
	}
	return nil, Dimension{}, false
}

func (a atom) rat(symbol string) *big.Rat {
	if symbol == "deg" {
		return new(big.Rat).Quo(rational(pi), rational("180"))
	}
	return rational(a.factor)
}

// rational reads a number of the tables above.
func rational(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("internal error: unit table: " + s)
	}
	return r
}
