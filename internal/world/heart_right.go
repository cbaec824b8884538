package world

import (
	"math"

	"echotally/internal/world/chance"
)

func (h *heart) right(r *chance.Stream) {
	v, f := h.v, h.flow
	age := float64(h.p.Age)
	d := v["LVOTd"] + r.In(.12, .28) // RVOT distal 17-27 mm (Lang 2015)
	if f.rvot > 1.4*f.fwd {          // volume-loaded outflow tract is wider
		d *= 1.16
	}
	v["RVOTd"] = d
	v["RVOTvti"] = f.rvot / (math.Pi / 4 * d * d)
	// RV ejection a little longer than LV (from memory)
	v["RVet"] = v["AVet"] * r.In(1.02, 1.06)
	if _, ok := v["PVv"]; !ok {
		v["PVv"] = v["RVOTvti"] / (v["RVet"] / 10 * r.In(.6, .64)) * r.In(1.08, 1.15)
	} else {
		v["PVmg"] = 4 * v["PVv"] * v["PVv"] * r.In(.54, .58)
	}
	mpap := .61*v["PASP"] + 2 // Chemla 2004
	v["MPAP"] = mpap
	at := (79 - mpap) / .45 // Mahan 1983
	if at < 120 {
		at = (90 - mpap) / .62 // Dabestani 1987
	}
	v["PVat"] = chance.Clamp(at*r.Scatter(.03), 42, .48*v["RVet"])
	padp := .37 * v["PASP"] // keeps PADP < mPAP < PASP (C69), from memory
	v["PRed"] = math.Sqrt(math.Max(padp-v["RAP"], 2) / 4)
	v["PRv"] = math.Sqrt(math.Max(mpap-v["RAP"]*.5, 6) / 4)
	if h.grade["PR"] == 3 {
		v["PRpht"] = r.In(70, 92) // < 100 severe, Zoghbi 2017
		v["PRed"] = r.In(.45, .6)
	}
	// 0.51 +/- 0.08 and 0.35 +/- 0.09 m/s in health (Pye 1991)
	v["TVE"] = chance.Clamp(.52*math.Pow(f.tv/72, .6), .38, 1.25) * r.Scatter(.04)
	if h.grade["TR"] == 3 {
		v["TVE"] = r.In(1.02, 1.16) // E >= 1 m/s (Hahn 2023)
	}
	v["TVAw"] = chance.Clamp(v["TVE"]/(2.0-.012*age), .3, .75) * r.Scatter(.03)
	if h.p.AF {
		delete(v, "TVAw")
	}
	h.rightSize(r)
}

// rightSize: RV diameters, areas, function, tricuspid annulus and leak.
func (h *heart) rightSize(r *chance.Stream) {
	v, c := h.v, h.c
	rv1 := r.In(c.rvd1[0], c.rvd1[1])
	if h.p.Sex == 'F' {
		rv1 -= .25 // women 4 mm less (Harkness 2020)
	}
	// mid <= 35, length 59-83 mm, area 10-24 cm2 (Lang 2015, from memory)
	v["RVD1"], v["RVD2"] = rv1, rv1*r.In(.74, .8)
	v["RVD3"] = 4.6 + .04*(h.p.Height-100) + r.In(-.3, .3)
	v["RVEDA"] = .70 * rv1 * v["RVD3"]
	v["FAC"] = r.In(c.fac[0], c.fac[1])
	v["RVESA"] = v["RVEDA"] * (1 - v["FAC"]/100)
	v["TAPSE"] = r.In(c.tapse[0], c.tapse[1])
	v["RVS"] = v["TAPSE"] * 10 / r.In(1.65, 1.85) // 17 mm : 9.5 cm/s = 1.8, C72
	// RIMP PW <= 0.43 in health (Lang 2015); slope from memory
	rimp := .60 - .006*v["FAC"] + r.In(-.02, .02)
	if v["FAC"] < 35 {
		rimp += .12
	}
	v["TCO"] = v["RVet"] * (1 + rimp)
	v["RIMP"] = rimp
	// annulus < 40 mm (ESC 2017/2021), a fifth smaller in systole (Tei 1982, from memory)
	v["TVann"] = rv1 * r.In(.80, .85)
	v["TVanns"] = v["TVann"] * r.In(.76, .82)
	if e := v["TReroa"]; h.grade["TR"] >= 1 {
		// Nyquist near 28 cm/s (EACVI 2013)
		v["TRva"] = chance.Pick(r, []float64{26, 28, 30})
		v["TRr"] = math.Sqrt(e * v["TRv"] * 100 / (2 * math.Pi * v["TRva"]))
		v["TRvc"] = math.Sqrt(4*e/math.Pi) * r.In(1.0, 1.1)
		if h.grade["TR"] == 1 { // mild: below 3 mm (Hahn 2023)
			v["TRvc"] = r.In(.2, .28)
		}
	}
}

func (h *heart) atria(r *chance.Stream) {
	v, c := h.v, h.c
	lav := r.In(c.lavi[0], c.lavi[1]) * h.bsa
	// length and AP diameter against the cube root of the volume (from memory)
	l := math.Cbrt(lav) * r.In(1.26, 1.36)
	prod := lav * l / .85 // area-length, Lang 2015
	q := r.In(.95, 1.06)
	v["LAV"], v["LAL"] = lav, l
	v["LAA4"], v["LAA2"] = math.Sqrt(prod)*q, math.Sqrt(prod)/q
	v["LAap"] = math.Cbrt(lav) * r.In(.93, .99)
	raa := r.In(12, 16.5) * h.bsa / 1.85 // <= 18 cm2 (Lang 2015); enlarged: common practice
	switch {
	case h.grade["TR"] == 3:
		raa = r.In(28, 35)
	case h.c.rap == 15 || h.flow.asd > 0:
		raa = r.In(22, 27)
	case h.c.rap == 8 || h.p.AF:
		raa = r.In(18.5, 22)
	}
	v["RAA"] = raa
	rl := math.Sqrt(raa) * r.In(1.14, 1.22)
	v["RAVi"] = .85 * raa * raa / rl / h.bsa // single-plane area-length, Lang 2015
}

func (h *heart) vessels(r *chance.Stream) {
	v := h.v
	sex := 1.0
	if h.p.Sex == 'F' {
		sex = 2
	}
	// Devereux 2012: 2.423 + 0.009 age + 0.461 BSA - 0.267 sex.
	v["SOV"] = 2.423 + .009*float64(h.p.Age) + .461*h.bsa - .267*sex + r.In(-.18, .18)
	// annulus within 3 mm of the LVOT, below the sinus (C39); STJ, ascending and
	// arch as shares of the sinus (Lang 2015 means)
	v["ANN"] = v["LVOTd"] + r.In(.03, .14)
	if v["SOV"] < v["ANN"]+.45 {
		v["SOV"] = v["ANN"] + .45
	}
	v["STJ"] = v["SOV"] * r.In(.84, .89)
	v["ASC"] = v["SOV"] * r.In(.93, 1.0)
	v["ARCH"] = v["SOV"] * r.In(.78, .84)
	v["MPA"] = 1.55 + .35*h.bsa
	if v["PASP"] > 50 || h.flow.rvot > 1.5*h.flow.fwd { // > 25 mm sign, ESC/ERS 2022
		v["MPA"] = r.In(2.8, 3.3)
	}
	var e, c float64
	switch h.c.rap { // Rudski 2010: 21 mm and 50 %, grey zone avoided
	case 3:
		e, c = r.In(1.35, 1.9), r.In(58, 72)
	case 8:
		e, c = r.In(2.28, 2.45), r.In(58, 68)
		if r.Chance(.5) {
			e, c = r.In(1.6, 1.9), r.In(32, 42)
		}
	default:
		e, c = r.In(2.4, 2.9), r.In(14, 32)
	}
	v["IVCe"], v["IVCi"] = e, e*(1-c/100)
	// systolic fraction >= 55 % at low RA pressure (Rudski 2010)
	sd := map[int][2]float64{3: {.56, .38}, 8: {.44, .40}, 15: {.24, .44}}[h.c.rap]
	if h.grade["TR"] < 3 && !h.p.AF {
		v["HVS"], v["HVD"] = sd[0]*r.Scatter(.05), sd[1]*r.Scatter(.05)
	}
}

func (h *heart) special(r *chance.Stream) {
	v, c := h.v, h.c
	if c.eff[1] > 0 {
		v["EFF"] = r.In(c.eff[0], c.eff[1])
	}
	if c.respVar || c.eff[1] > .9 {
		drop, rise := .12, .22 // within 25 % without tamponade (Klein 2013)
		if c.respVar {         // >= 25 / >= 40 % in constriction, Klein 2013
			drop, rise = r.In(.29, .36), r.In(.48, .62)
		}
		v["Eexp"] = v["E"] * r.In(1.0, 1.04)
		v["Einsp"] = v["Eexp"] * (1 - drop)
		v["TVEex"] = v["TVE"] * r.In(.95, 1.0)
		v["TVEin"] = v["TVEex"] * (1 + rise)
	}
	if h.flow.asd > 0 {
		v["ASDd"] = r.In(1.6, 2.4) // common practice
	}
	if h.flow.vsd > 0 {
		v["VSDv"] = math.Sqrt((h.p.SBP - v["RVSP"]) / 4) // RVSP_VSD
	}
	if c.lvoto { // continuity and LVOT flow are not measured in a dagger jet
		for _, k := range []string{"LVOTvti", "AVv", "AVvti", "AVmg", "AVet", "AVat"} {
			delete(v, k)
		}
	}
	if h.grade["MS"] == 0 && !c.prosMV { // no gradient traced in a normal valve
		for _, k := range []string{"MVvti", "MVv", "MVmg", "MVpht"} {
			delete(v, k)
		}
	}
	if h.grade["TR"] == 0 {
		delete(v, "TReroa")
		delete(v, "TRvti")
	}
	if h.grade["MR"] == 0 {
		delete(v, "dPdt")
	}
}
