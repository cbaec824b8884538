package world

import (
	"math"
	"strconv"
	"time"
)

// beats: C29, the stored mean is the mean of the stored beats; in sinus
// rhythm no beat lies far from its fellows (BEAT_CV 15-20 %).
func (s shown) beats() []viol {
	var out []viol
	for i := range catalogue {
		k := catalogue[i].key
		for _, w := range itemWindows(s.rp.items, k) {
			out = append(out, s.beatsOf(k, w)...)
		}
	}
	return out
}

func (s shown) beatsOf(k, w string) []viol {
	var vs []float64
	var mean *item
	step := 0.0
	for _, it := range s.rp.items {
		if it.key != k || it.win != w {
			continue
		}
		v, ok := it.canon()
		if ok && (it.role == "beat" || it.role == "best") {
			vs = append(vs, v)
		}
		if it.role == "mean" {
			mean = it
		}
		step = math.Max(step, it.step())
	}
	if len(vs) < 2 {
		return nil
	}
	sum, lo, hi := 0.0, vs[0], vs[0]
	for _, v := range vs {
		sum += v
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	m := sum / float64(len(vs))
	var out []viol
	if mean != nil {
		if v, ok := mean.canon(); ok {
			out = append(out, viol{"C29", math.Abs(v-m) / (step*1.01 + 2e-3*math.Abs(m) + 1e-9), []string{k}})
		}
	}
	lim := .30
	if s.rp.rhythmAF {
		lim = .60
	}
	spread := math.Abs(hi-lo) - step
	if spread > 0 {
		out = append(out, viol{"C92", spread / (lim * math.Abs(m)), []string{k}})
	}
	return out
}

// repeats: windows of the same jet (C65), old and new readings, copies.
func (s shown) repeats() []viol {
	var out []viol
	for _, k := range []string{"TRv", "AVv"} {
		ws := itemWindows(s.rp.items, k)
		var vs []float64
		for _, w := range ws {
			if v, ok := windowValue(s.rp.items, k, w); ok {
				vs = append(vs, math.Abs(v))
			}
		}
		if len(vs) == 2 && vs[0] > 0 && vs[1] > 0 {
			q := math.Max(vs[0], vs[1]) / math.Min(vs[0], vs[1])
			id := "C65"
			if k == "AVv" {
				id = "C57"
			}
			tol := .11 // 2.77 * 3.8 %
			if s.rp.rhythmAF {
				tol *= 1.5 // context gate
			}
			out = append(out, viol{id, (q - 1) / tol, []string{k}})
		}
	}
	for _, it := range s.rp.items {
		v, ok := it.canon()
		if !ok || it.role != "copy" && it.role != "old" {
			continue
		}
		p, ok := s.v[it.key]
		if !ok {
			continue
		}
		t := it.step()/2 + s.u[it.key] + .005*p
		if it.role == "old" {
			t += .27 * p // measured anew because it was doubted
		}
		out = append(out, viol{"C92", math.Abs(math.Abs(v)-p) / t, []string{it.key}})
	}
	return out
}

// contextual relations need more than one threshold or the rhythm.
func (s shown) contextual() []viol {
	var out []viol
	yes := func(on bool, id string, ks ...string) {
		if on {
			out = append(out, viol{id, 2, ks})
		}
	}
	v := s.v
	yes(s.rp.rhythmAF && s.has("A"), "C40", "A")
	yes(s.rp.rhythmAF && s.has("TVAw"), "C81", "TVAw")
	yes(s.has("EF", "GLS") && v["EF"] < 33 && v["GLS"] < -18.5, "C42", "EF", "GLS")
	yes(s.has("EF", "GLS") && v["EF"] > 62 && v["GLS"] > -11.5, "C42", "EF", "GLS")
	yes(s.has("AVA", "AVmg", "SVi") && v["AVA"] < .88 && v["AVmg"] < 35 && v["SVi"] > 38, "C53", "AVA", "AVmg", "SVi")
	yes(s.has("AVA", "AVmg") && v["AVA"] > 1.2 && v["AVmg"] > 44 && s.rp.h.grade["AR"] < 2, "C53", "AVA", "AVmg")
	yes(s.has("AVA", "LVOTvti", "AVvti") && v["AVA"] < .9 && v["LVOTvti"]/v["AVvti"] > .34, "C54", "AVA", "LVOTvti", "AVvti")
	yes(s.has("AVA", "LVOTvti", "AVvti") && v["AVA"] > 1.15 && v["LVOTvti"]/v["AVvti"] < .22, "C54", "AVA", "LVOTvti", "AVvti")
	yes(s.has("TAPSE", "FAC") && v["TAPSE"] > 2.0 && v["FAC"] < 24, "C71", "TAPSE", "FAC")
	yes(s.has("TAPSE", "FAC") && v["TAPSE"] < 1.35 && v["FAC"] > 44, "C71", "TAPSE", "FAC")
	yes(s.has("ARrvol", "SV") && v["ARrvol"] > v["SV"]+5, "C50", "ARrvol", "SV")
	yes(s.has("MRrvol", "EDV", "ESV") && v["MRrvol"] > (v["EDV"]-v["ESV"])*1.45+12, "C50", "MRrvol")
	out = append(out, s.rapClass()...)
	out = append(out, s.bsaFits()...)
	if math.Abs(parseF(s.rp.patHR)-v["HR"]) > .12*v["HR"] && s.has("HR") {
		out = append(out, viol{"C92", 2, []string{"HR"}})
	}
	d, sy := parseF(s.rp.dbp), v["SBP"]
	yes(d >= sy, "C87", "SBP")
	yes(sy > 285 || sy < 48 || d > 190, "limit:SBP", "SBP")
	return out
}

// rapClass: C03, grey zone 20-22 mm and 45-55 %.
func (s shown) rapClass() []viol {
	if !s.has("RAP", "IVCe", "IVCi") {
		return nil
	}
	e, r := s.v["IVCe"], s.v["RAP"]
	c := 100 * (e - s.v["IVCi"]) / e
	want := -1.0
	switch {
	case e < 2.0 && c > 55:
		want = 0
	case e > 2.2 && c < 45:
		want = 2
	case e < 2.0 && c < 45 || e > 2.2 && c > 55:
		want = 1
	}
	got := 1.0
	if r < 6.5 {
		got = 0
	} else if r > 12 {
		got = 2
	}
	if want >= 0 && want != got {
		return []viol{{"C03", 2, []string{"RAP", "IVCe", "IVCi"}}}
	}
	return nil
}

// bsaFits: C09, the declared formula within 0.02 m2.
func (s shown) bsaFits() []viol {
	b := s.rp.body[0]
	h, w := parseF(b.height), parseF(b.weight)
	var out []viol
	if h < 120 || h > 225 {
		out = append(out, viol{"limit:Height", 2, []string{"height"}})
	}
	if w < 25 || w > 300 {
		out = append(out, viol{"limit:Weight", 2, []string{"weight"}})
	}
	want := bsaDuBois(h, w)
	if s.rp.d.mosteller {
		want = bsaMosteller(h, w)
	}
	return append(out, viol{"C09", math.Abs(want-s.v["BSA"]) / .03, []string{"bsa"}})
}

// tier from numbers with the class limits of limits.csv; -1 unknown.
func (s shown) tier(kind string) float64 {
	at := func(k string, lims ...float64) float64 {
		v, ok := s.v[k]
		if !ok {
			return math.NaN()
		}
		n := 0.0
		for _, l := range lims {
			if v >= l {
				n++
			}
		}
		return n
	}
	var ts []float64
	switch kind {
	case "AS": // Baumgartner 2017
		ts = []float64{at("AVv", 2.6, 3, 4), 3 - at("AVA", 1.0, 1.5, 2.0)}
		if s.v["SVi"] < 35 && !math.IsNaN(ts[1]) { // low flow: the area decides
			ts = ts[1:]
		}
	case "AR": // Zoghbi 2017
		ts = []float64{1 + at("AReroa", .1, .3), 1 + at("ARvc", .3, .6), 1 + at("ARrvol", 30, 60)}
	case "MR":
		ts = []float64{1 + at("MReroa", .2, .4), 1 + at("MRvc", .3, .7), 1 + at("MRrvol", 30, 60)}
	case "TR": // Hahn 2023
		ts = []float64{1 + at("TReroa", .2, .4), 1 + at("TRvc", .3, .7), 1 + at("TRrvol", 30, 45)}
	case "MS": // ACC/AHA 2014
		ts = []float64{3 - at("MVA", 1.5, 2.2, 3)}
	case "PS":
		ts = []float64{1 + at("PVv", 3, 4)}
	}
	sum, n := 0.0, 0.0
	for _, t := range ts {
		if !math.IsNaN(t) {
			sum += t
			n++
		}
	}
	if n == 0 {
		return -1
	}
	return sum / n
}

// grades: C93, words and codes against numbers; two tiers apart is a fault.
func (s shown) grades() []viol {
	var out []viol
	cmp := func(kind string, g int) {
		t := s.tier(kind)
		if t < 0 {
			return
		}
		out = append(out, viol{"C93", math.Abs(t-float64(g)) / 1.2, []string{kind}})
	}
	for _, f := range s.rp.finds {
		if (f.grade > 0 || f.grade == 0 && s.tier(f.kind) >= 2) && f.kind != "EFF" && s.rp.d.findStyle != "none" && s.rp.d.findStyle != "text" {
			cmp(f.kind, f.grade)
			if g, ok := s.rp.said[f.kind]; ok && g != f.grade && f.grade >= 0 {
				out = append(out, viol{"C93", .8 * math.Abs(float64(g-f.grade)), []string{f.kind}})
			}
		}
	}
	for k, g := range s.rp.said {
		switch k {
		case "EF":
			ef, ok := s.v["EF"]
			if !ok {
				ef, ok = s.v["EFTei"]
			}
			if ok {
				out = append(out, viol{"C93", math.Abs(float64(efGrade(ef, s.rp.h.p.Sex)-g)) / 1.2, []string{"EF"}})
				out = append(out, viol{"C92", math.Abs(ef-s.rp.saidEF) / 2.1, []string{"EF"}})
			}
		default:
			if g > 0 || s.tier(k) >= 2 {
				cmp(k, g)
			}
		}
	}
	return out
}

// identityViol: C87, header and content, first and second object, age and
// birth date, content date and study date.
func (rp *report) identityViol() []viol {
	var out []viol
	bad := func(on bool, why string) {
		if on {
			out = append(out, viol{"C87", 2, []string{why}})
		}
	}
	h0 := rp.head[0]
	for i := range rp.head {
		h, b := rp.head[i], rp.body[i]
		bad(h.birth != h0.birth || h.sex != h0.sex || h.name != h0.name || h.id != h0.id, "objects")
		bad(h.sex != b.sex, "sex")
		bad(rp.d.name != "ungert" && rp.d.name != "pindrel" && (h.height != b.height || h.weight != b.weight), "size")
		bad((rp.d.name == "xanthe" || rp.d.name == "kardun") && h.birth != b.birth, "birth")
		bad(h.height != h0.height || b.height != rp.body[0].height, "height")
		born, err := time.Parse("20060102", h.birth)
		age, err2 := strconv.Atoi(b.age)
		if err == nil && err2 == nil {
			y := rp.h.p.Study.Sub(born).Hours() / 24 / 365.25
			bad(math.Abs(y-float64(age)-.5) > .6, "age")
		}
	}
	when, err := time.Parse("20060102", rp.date)
	bad(err == nil && when.Format("20060102") != rp.h.p.Study.Format("20060102"), "date")
	return out
}
