package world

import (
	"math"

	"echotally/internal/world/chance"
)

// reading is one caliper result: window, beat number, unrounded value.
type reading struct {
	win  string
	beat int
	v    float64
}

// rawSet holds the readings by key.
type rawSet map[string][]reading

// computed keys are never measured; the scanner derives them.
var computed = map[string]bool{"EF": true, "AVA": true, "MVA": true, "RIMP": true,
	"FAC": true, "RVSP": true, "PASP": true, "MPAP": true, "AReroa": true,
	"MReroa": true, "TReroa": true, "LAV": true, "RAP": true}

// Observer scatter of one session: the same person on the same clips reads
// far closer than two observers; fractions of reproducibility.csv (LVOT D
// 5-8 %, VTI 7.4 %, E 5.7 %, FAC 15 %, PISA radius 13.5 % between observers).
var observer = map[kind]float64{kLen: .010, kFine: .02, kVel: .010, kTis: .015,
	kPress: .012, kTime: .012, kVol: .012, kArea: .012, kVTI: .012, kPct: .015}

// measure takes the readings of all keys the heart shows.
func measure(h *heart, d *dialect, seed uint64) rawSet {
	raw := rawSet{}
	for i := range catalogue {
		k := catalogue[i].key
		t, ok := h.v[k]
		if !ok || computed[k] {
			continue
		}
		raw[k] = readKey(h, d, &catalogue[i], t, seed)
	}
	if hr := raw["HR"]; len(hr) > 0 { // the clip's own rate belongs to its R-R
		f := 1.0
		if d.hrClip {
			f = chance.New(seed, "clip").In(.97, 1.03)
		}
		v := math.Round(h.p.HR * f)
		raw["HR"] = []reading{{"", 1, v}}
		raw["RR"] = []reading{{"", 1, 60000 / v}}
	}
	alignChains(h, raw, seed)
	if d.full && !h.c.lvoto { // full Bernoulli: the mean gradient loses the proximal part too
		v1 := h.v["LVOTv"]
		for i := range raw["AVmg"] {
			raw["AVmg"][i].v = math.Max(raw["AVmg"][i].v-4*v1*v1*.46, .9)
		}
	}
	return raw
}

func readKey(h *heart, d *dialect, df *def, t float64, seed uint64) []reading {
	r := chance.New(seed, "read", df.key)
	obs := r.Scatter(observer[df.kind])
	n, cv := df.n, df.cv
	if h.p.AF && df.n == 3 {
		n = 5
		if df.kind == kVel || df.kind == kVTI || df.kind == kPress || df.kind == kTis {
			cv += .045 // beats vary with the preceding cycle (Bunting 2021: far more at worst)
		}
	}
	var out []reading
	for wi, w := range windowsOf(h, df.key) {
		f := 1.0
		if wi > 0 && d.mode == "windows" && n > 2 {
			n-- // fewer beats from the harder window
		}
		if wi > 0 { // the first window aligns best; others read a little lower
			f = r.In(.945, .985) // C65: 10 %
		}
		for b := 1; b <= n; b++ {
			out = append(out, reading{w, b, t * obs * f * r.Scatter(cv)})
		}
	}
	return out
}

// windowsOf: TR is sought from several windows (Mitchell 2019, Hahn 2023);
// aortic CW too when stenosis is present (Baumgartner 2017).
func windowsOf(h *heart, key string) []string {
	switch {
	case key == "TRv":
		return []string{"A4C", "RVIN"}
	case key == "AVv" && h.grade["AS"] > 0:
		return []string{"A3C", "SSN"}
	}
	return []string{""}
}

// alignChains gives values of one envelope the same scatter: peak, mean and
// integral of a trace come from the same beats.
func alignChains(h *heart, raw rawSet, seed uint64) {
	same := func(lead string, rest ...string) {
		lr := raw[lead]
		if len(lr) == 0 {
			return
		}
		for _, k := range rest {
			t, ok := h.v[k]
			if !ok || len(raw[k]) == 0 {
				continue
			}
			r := chance.New(seed, "align", k)
			pow := 1.0
			if defOf[k].kind == kPress {
				pow = 2 // gradients go with the square of velocity
			}
			for i := range raw[k] {
				f := lr[min(i, len(lr)-1)].v / h.v[lead]
				raw[k][i].v = t * math.Pow(f, pow) * r.Scatter(.004)
			}
		}
	}
	same("LVOTv", "LVOTvti")
	same("AVv", "AVvti", "AVmg")
	same("MVv", "MVvti", "MVmg")
	same("EDV", "EDV4", "EDV2")
	same("ESV", "ESV4", "ESV2")
}

// picker returns the value of a key the scanner works with.
type picker func(string) (float64, bool)

// choose reduces the readings of a key: mean or user-chosen beat of the
// highest window.
func choose(rs []reading, mode string) (float64, bool) {
	if len(rs) == 0 {
		return 0, false
	}
	best, found := 0.0, false
	for _, w := range windowNames(rs) {
		sum, n, sel := 0.0, 0, 0.0
		for _, x := range rs {
			if x.win == w {
				sum += x.v
				n++
				if n <= 2 {
					sel = x.v
				}
			}
		}
		v := sum / float64(n)
		if mode == "best" {
			v = sel
		}
		if !found || math.Abs(v) > math.Abs(best) {
			best, found = v, true
		}
	}
	return best, found
}

func windowNames(rs []reading) []string {
	var out []string
	seen := map[string]bool{}
	for _, x := range rs {
		if !seen[x.win] {
			seen[x.win] = true
			out = append(out, x.win)
		}
	}
	return out
}

func (raw rawSet) picker(mode string) picker {
	return func(k string) (float64, bool) { return choose(raw[k], mode) }
}

func (raw rawSet) clone() rawSet {
	out := rawSet{}
	for k, v := range raw {
		out[k] = append([]reading{}, v...)
	}
	return out
}
