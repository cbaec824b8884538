package world

import "math"

func (h *heart) right(r *rnd) {
	v, f := h.v, h.flow
	age := float64(h.p.Age)
	d := v["LVOTd"] + r.in(.12, .28) // RVOT distal 17-27 mm (Lang 2015)
	if f.rvot > 1.4*f.fwd {          // volume-loaded outflow tract is wider
		d *= 1.16
	}
	v["RVOTd"] = d
	v["RVOTvti"] = f.rvot / (math.Pi / 4 * d * d)
	// RV ejection a little longer than LV (from memory)
	v["RVet"] = v["AVet"] * r.in(1.02, 1.06)
	if _, ok := v["PVv"]; !ok {
		v["PVv"] = v["RVOTvti"] / (v["RVet"] / 10 * r.in(.6, .64)) * r.in(1.08, 1.15)
	} else {
		v["PVmg"] = 4 * v["PVv"] * v["PVv"] * r.in(.54, .58)
	}
	mpap := .61*v["PASP"] + 2 // Chemla 2004
	v["MPAP"] = mpap
	at := (79 - mpap) / .45 // Mahan 1983
	if at < 120 {
		at = (90 - mpap) / .62 // Dabestani 1987
	}
	v["PVat"] = clamp(at*r.sc(.03), 42, .48*v["RVet"])
	padp := .37 * v["PASP"] // keeps PADP < mPAP < PASP (C69), from memory
	v["PRed"] = math.Sqrt(math.Max(padp-v["RAP"], 2) / 4)
	v["PRv"] = math.Sqrt(math.Max(mpap-v["RAP"]*.5, 6) / 4)
	if h.grade["PR"] == 3 {
		v["PRpht"] = r.in(70, 92) // < 100 severe, Zoghbi 2017
		v["PRed"] = r.in(.45, .6)
	}
	// 0.51 +/- 0.08 and 0.35 +/- 0.09 m/s in health (Pye 1991)
	v["TVE"] = clamp(.52*math.Pow(f.tv/72, .6), .38, 1.25) * r.sc(.04)
	if h.grade["TR"] == 3 {
		v["TVE"] = r.in(1.02, 1.16) // E >= 1 m/s (Hahn 2023)
	}
	v["TVAw"] = clamp(v["TVE"]/(2.0-.012*age), .3, .75) * r.sc(.03)
	if h.p.AF {
		delete(v, "TVAw")
	}
	h.rightSize(r)
}

// rightSize: RV diameters, areas, function, tricuspid annulus and leak.
func (h *heart) rightSize(r *rnd) {
	v, c := h.v, h.c
	rv1 := r.in(c.rvd1[0], c.rvd1[1])
	if h.p.Sex == 'F' {
		rv1 -= .25 // women 4 mm less (Harkness 2020)
	}
	// mid <= 35, length 59-83 mm, area 10-24 cm2 (Lang 2015, from memory)
	v["RVD1"], v["RVD2"] = rv1, rv1*r.in(.74, .8)
	v["RVD3"] = 4.6 + .04*(h.p.Height-100) + r.in(-.3, .3)
	v["RVEDA"] = .70 * rv1 * v["RVD3"]
	v["FAC"] = r.in(c.fac[0], c.fac[1])
	v["RVESA"] = v["RVEDA"] * (1 - v["FAC"]/100)
	v["TAPSE"] = r.in(c.tapse[0], c.tapse[1])
	v["RVS"] = v["TAPSE"] * 10 / r.in(1.65, 1.85) // 17 mm : 9.5 cm/s = 1.8, C72
	// RIMP PW <= 0.43 in health (Lang 2015); slope from memory
	rimp := .60 - .006*v["FAC"] + r.in(-.02, .02)
	if v["FAC"] < 35 {
		rimp += .12
	}
	v["TCO"] = v["RVet"] * (1 + rimp)
	v["RIMP"] = rimp
	// annulus < 40 mm (ESC 2017/2021), a fifth smaller in systole (Tei 1982, from memory)
	v["TVann"] = rv1 * r.in(.80, .85)
	v["TVanns"] = v["TVann"] * r.in(.76, .82)
	if e := v["TReroa"]; h.grade["TR"] >= 1 {
		// Nyquist near 28 cm/s (EACVI 2013)
		v["TRva"] = pick(r, []float64{26, 28, 30})
		v["TRr"] = math.Sqrt(e * v["TRv"] * 100 / (2 * math.Pi * v["TRva"]))
		v["TRvc"] = math.Sqrt(4*e/math.Pi) * r.in(1.0, 1.1)
		if h.grade["TR"] == 1 { // mild: below 3 mm (Hahn 2023)
			v["TRvc"] = r.in(.2, .28)
		}
	}
}

func (h *heart) atria(r *rnd) {
	v, c := h.v, h.c
	lav := r.in(c.lavi[0], c.lavi[1]) * h.bsa
	// length and AP diameter against the cube root of the volume (from memory)
	l := math.Cbrt(lav) * r.in(1.26, 1.36)
	prod := lav * l / .85 // area-length, Lang 2015
	q := r.in(.95, 1.06)
	v["LAV"], v["LAL"] = lav, l
	v["LAA4"], v["LAA2"] = math.Sqrt(prod)*q, math.Sqrt(prod)/q
	v["LAap"] = math.Cbrt(lav) * r.in(.93, .99)
	raa := r.in(12, 16.5) * h.bsa / 1.85 // <= 18 cm2 (Lang 2015); enlarged: common practice
	switch {
	case h.grade["TR"] == 3:
		raa = r.in(28, 35)
	case h.c.rap == 15 || h.flow.asd > 0:
		raa = r.in(22, 27)
	case h.c.rap == 8 || h.p.AF:
		raa = r.in(18.5, 22)
	}
	v["RAA"] = raa
	rl := math.Sqrt(raa) * r.in(1.14, 1.22)
	v["RAVi"] = .85 * raa * raa / rl / h.bsa // single-plane area-length, Lang 2015
}

func (h *heart) vessels(r *rnd) {
	v := h.v
	sex := 1.0
	if h.p.Sex == 'F' {
		sex = 2
	}
	// Devereux 2012: 2.423 + 0.009 age + 0.461 BSA - 0.267 sex.
	v["SOV"] = 2.423 + .009*float64(h.p.Age) + .461*h.bsa - .267*sex + r.in(-.18, .18)
	// annulus within 3 mm of the LVOT, below the sinus (C39); STJ, ascending and
	// arch as shares of the sinus (Lang 2015 means)
	v["ANN"] = v["LVOTd"] + r.in(.03, .14)
	if v["SOV"] < v["ANN"]+.45 {
		v["SOV"] = v["ANN"] + .45
	}
	v["STJ"] = v["SOV"] * r.in(.84, .89)
	v["ASC"] = v["SOV"] * r.in(.93, 1.0)
	v["ARCH"] = v["SOV"] * r.in(.78, .84)
	v["MPA"] = 1.55 + .35*h.bsa
	if v["PASP"] > 50 || h.flow.rvot > 1.5*h.flow.fwd { // > 25 mm sign, ESC/ERS 2022
		v["MPA"] = r.in(2.8, 3.3)
	}
	var e, c float64
	switch h.c.rap { // Rudski 2010: 21 mm and 50 %, grey zone avoided
	case 3:
		e, c = r.in(1.35, 1.9), r.in(58, 72)
	case 8:
		e, c = r.in(2.28, 2.45), r.in(58, 68)
		if r.chance(.5) {
			e, c = r.in(1.6, 1.9), r.in(32, 42)
		}
	default:
		e, c = r.in(2.4, 2.9), r.in(14, 32)
	}
	v["IVCe"], v["IVCi"] = e, e*(1-c/100)
	// systolic fraction >= 55 % at low RA pressure (Rudski 2010)
	sd := map[int][2]float64{3: {.56, .38}, 8: {.44, .40}, 15: {.24, .44}}[h.c.rap]
	if h.grade["TR"] < 3 && !h.p.AF {
		v["HVS"], v["HVD"] = sd[0]*r.sc(.05), sd[1]*r.sc(.05)
	}
}

func (h *heart) special(r *rnd) {
	v, c := h.v, h.c
	if c.eff[1] > 0 {
		v["EFF"] = r.in(c.eff[0], c.eff[1])
	}
	if c.respVar || c.eff[1] > .9 {
		drop, rise := .12, .22 // within 25 % without tamponade (Klein 2013)
		if c.respVar {         // >= 25 / >= 40 % in constriction, Klein 2013
			drop, rise = r.in(.29, .36), r.in(.48, .62)
		}
		v["Eexp"] = v["E"] * r.in(1.0, 1.04)
		v["Einsp"] = v["Eexp"] * (1 - drop)
		v["TVEex"] = v["TVE"] * r.in(.95, 1.0)
		v["TVEin"] = v["TVEex"] * (1 + rise)
	}
	if h.flow.asd > 0 {
		v["ASDd"] = r.in(1.6, 2.4) // common practice
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
