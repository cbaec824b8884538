package world

import (
	"math"
	"sort"
)

// viol is one broken relation; strength 1 is exactly its tolerance.
type viol struct {
	id       string
	strength float64
	keys     []string
}

// shown reads the report as an outsider can: written texts only.
type shown struct {
	rp *report
	v  map[string]float64
	u  map[string]float64 // half of the last written digit
}

func (rp *report) shown() shown {
	s := shown{rp, map[string]float64{}, map[string]float64{}}
	for i := range catalogue {
		k := catalogue[i].key
		v, ok := primary(rp.items, k)
		if !ok {
			continue
		}
		if negative[k] {
			v = math.Abs(v)
		}
		if k == "GLS" {
			v = -math.Abs(v)
		}
		s.v[k] = v
		for _, it := range rp.items {
			if it.key == k && it.role != "copy" {
				s.u[k] = math.Max(s.u[k], it.step()/2)
			}
		}
	}
	s.v["BSA"], s.u["BSA"] = parseF(rp.bsaText), .005
	s.v["SBP"] = parseF(rp.sbp)
	return s
}

func (s shown) has(ks ...string) bool {
	for _, k := range ks {
		if _, ok := s.v[k]; !ok {
			return false
		}
	}
	return true
}

// recomp is a recomputation relation (group A of consistency.md).
type recomp struct {
	id, out  string
	in       []string
	f        []func(g func(string) float64) float64 // accepted forms
	rel, abs float64
}

// tolerance: 1.5 * sum |df/dx| u + u_out + the stated tolerance (consistency.md,
// "How the tolerances were chosen" 1).
func (s shown) check(r recomp) (viol, bool) {
	if !s.has(append([]string{r.out}, r.in...)...) {
		return viol{}, false
	}
	best := math.Inf(1)
	for _, f := range r.f {
		y := f(func(k string) float64 { return s.v[k] })
		t := s.u[r.out] + math.Max(r.abs, r.rel*math.Abs(y))
		for _, k := range r.in {
			d := f(func(q string) float64 {
				if q == k {
					return s.v[q] + s.u[q]
				}
				return s.v[q]
			}) - y
			t += 1.5 * math.Abs(d)
		}
		best = math.Min(best, math.Abs(s.v[r.out]-y)/t)
	}
	return viol{r.id, best, append([]string{r.out}, r.in...)}, true
}

// band is an order or range relation: f must lie in [lo, hi]; m is the
// margin past which it counts as far outside.
type band struct {
	id        string
	in        []string
	f         func(g func(string) float64) float64
	lo, hi, m float64
	off       func(*report) bool // context gates of consistency.md
}

func (s shown) checkBand(b band) (viol, bool) {
	if !s.has(b.in...) || b.off != nil && b.off(s.rp) {
		return viol{}, false
	}
	y := b.f(func(k string) float64 { return s.v[k] })
	slack := 0.0 // rounding of the written inputs
	for _, k := range b.in {
		slack += math.Abs(b.f(func(q string) float64 {
			if q == k {
				return s.v[q] + s.u[q]
			}
			return s.v[q]
		}) - y)
	}
	st := 0.0
	if y < b.lo {
		y = math.Min(y+slack, b.lo)
	} else if y > b.hi {
		y = math.Max(y-slack, b.hi)
	}
	if y < b.lo {
		st = 1 + .5*(b.lo-y)/b.m
	}
	if y > b.hi {
		st = 1 + .5*(y-b.hi)/b.m
	}
	return viol{b.id, st, b.in}, true
}

// violations evaluates everything an outsider could check.
func (rp *report) violations() []viol {
	s := rp.shown()
	var out []viol
	add := func(v viol, ok bool) {
		if ok && v.strength > 0 && !math.IsNaN(v.strength) {
			out = append(out, v)
		}
	}
	for _, r := range recomps {
		add(s.check(r))
	}
	for _, b := range bands {
		add(s.checkBand(b))
	}
	out = append(out, s.limits()...)
	out = append(out, s.beats()...)
	out = append(out, s.repeats()...)
	out = append(out, s.contextual()...)
	out = append(out, s.grades()...)
	out = append(out, rp.identityViol()...)
	sort.SliceStable(out, func(i, j int) bool { return out[i].strength > out[j].strength })
	return out
}

func worst(vs []viol, min float64) []viol {
	var out []viol
	for _, v := range vs {
		if v.strength >= min {
			out = append(out, v)
		}
	}
	return out
}

type fn = func(g func(string) float64) float64

func div(a, b string, k float64) fn {
	return func(g func(string) float64) float64 { return k * g(a) / g(b) }
}

// formRel turns a formula of the scanner into a relation with a tolerance.
func formRel(id, out string, rel, abs float64, alt ...fn) recomp {
	for _, f := range formulas {
		if f.out == out {
			return recomp{id, out, f.need, append([]fn{f.f}, alt...), rel, abs}
		}
	}
	panic(out)
}

// recomps: ids and tolerances of consistency.md.
var recomps = []recomp{
	{"C01", "AVpg", []string{"AVv", "LVOTv"}, []fn{
		func(g func(string) float64) float64 { return 4 * g("AVv") * g("AVv") },
		func(g func(string) float64) float64 { return 4 * (g("AVv")*g("AVv") - g("LVOTv")*g("LVOTv")) }}, 0, 1.5},
	formRel("C01", "TRpg", 0, 1.2), formRel("C01", "PVpg", 0, 1.2), formRel("C01", "MVpg", 0, 1.2),
	formRel("C01", "VSDpg", 0, 2), formRel("C01", "LVOTpg", 0, 1.5),
	{"C02", "RVSP", []string{"TRv", "RAP"}, []fn{func(g func(string) float64) float64 { return 4*g("TRv")*g("TRv") + g("RAP") }}, 0, 1.5},
	formRel("C02", "RVSP", 0, 1.2),
	formRel("C04", "IVCc", 0, 1.5),
	formRel("C06", "SV", .05, 0), formRel("C07", "CO", .05, 0),
	formRel("C08", "SVi", .02, 0), formRel("C08", "CI", .02, 0), formRel("C08", "EDVi", .02, 0), formRel("C08", "ESVi", .02, 0),
	formRel("C08", "MassI", .02, 0), formRel("C08", "LAVi", .02, 0), formRel("C08", "AVAi", .02, 0),
	formRel("C10", "EF", 0, 2), formRel("C10", "EF4", 0, 2), formRel("C10", "EF3", 0, 2),
	formRel("C12", "FS", 0, 1.5), formRel("C12", "EFTei", 0, 2),
	formRel("C13", "Mass", .06, 0),
	formRel("C14", "RWT", 0, .02),
	formRel("C15", "EA", 0, .05),
	formRel("C16", "Ees", .06, 0), formRel("C16", "Eel", .06, 0),
	formRel("C16", "Eea", .06, 0, func(g func(string) float64) float64 { return 50 * (g("E")/g("ePs") + g("E")/g("ePl")) }),
	formRel("C17", "FAC", 0, 2), formRel("C18", "LAV", .06, 0),
	formRel("C19", "AVA", .05, 0), formRel("C19", "AVAv", .06, 0), formRel("C20", "DVI", 0, .012),
	formRel("C21", "MVA", .03, 0),
	formRel("C23", "AReroa", .04, 0), formRel("C23", "MReroa", .04, 0), formRel("C23", "TReroa", .04, 0),
	formRel("C23", "ARrvol", .04, 0), formRel("C23", "MRrvol", .04, 0), formRel("C23", "TRrvol", .04, 0),
	formRel("C24", "ARrf", 0, 3),
	{"C24", "MRrf", []string{"MRrvol", "MVann", "MVavti"}, []fn{func(g func(string) float64) float64 {
		return 100 * g("MRrvol") / (math.Pi / 4 * g("MVann") * g("MVann") * g("MVavti"))
	}}, 0, 3},
	{"C25", "QpQs", []string{"RVSV", "SV"}, []fn{div("RVSV", "SV", 1)}, 0, .05},
	{"C06", "RVSV", []string{"RVOTd", "RVOTvti"}, []fn{func(g func(string) float64) float64 {
		return math.Pi / 4 * g("RVOTd") * g("RVOTd") * g("RVOTvti")
	}}, .05, 0},
	formRel("C26", "COUP", .03, 0), formRel("C26", "PVR", 0, .12), formRel("C26", "MPAP", 0, 1.2),
	formRel("C27", "RIMP", 0, .02),
	{"C30", "HR", []string{"RR"}, []fn{func(g func(string) float64) float64 { return 60000 / g("RR") }}, .03, 2},
	{"C92", "TVEA", []string{"TVE", "TVAw"}, []fn{div("TVE", "TVAw", 1)}, .03, .03},
	{"C92", "PVSD", []string{"PVS", "PVD"}, []fn{div("PVS", "PVD", 1)}, .03, .03},
}
