package world

import (
	"math"

	"echotally/internal/world/chance"
)

// heart is the true, unrounded state of one patient: values by key in the
// canonical units of defs.go, plus what no key holds.
type heart struct {
	v        map[string]float64
	c        cond
	p        patient
	bsa      float64
	flow     flows
	edv      float64 // true LV volumes, before 2D understatement
	esv      float64
	dropKeys []string                                             // keys left out of the report
	force    map[string]func(float64, map[string]float64) float64 // wrong results of a scanner (slips)
	grade    map[string]int                                       // AR AS MR MS TR PR PS: 0..3
}

// flows are the volumes of one beat in mL; see flows.check in the tests.
type flows struct {
	fwd, ar, mr, tr, pr, asd, vsd            float64
	lvot, lvTotal, mitral, rvot, tv, rvTotal float64
}

// newHeart solves the circulation of a condition. Order: forward flow,
// regurgitant and shunt volumes, then every site flow by conservation of
// mass, then velocities by continuity and pressures by Bernoulli.
func newHeart(r *chance.Stream, c0 cond, p patient) *heart {
	h := &heart{v: map[string]float64{}, c: c0.filled(), p: p, grade: map[string]int{}}
	h.bsa = bsaDuBois(p.Height, p.Weight) // Du Bois 1916
	h.timing(r)
	h.jets(r)
	h.sites()
	h.ventricle(r)
	h.aortic(r)
	h.mitral(r)
	h.right(r)
	h.atria(r)
	h.vessels(r)
	h.special(r)
	return h
}

func (h *heart) timing(r *chance.Stream) {
	rr := 60000 / h.p.HR
	// Ejection time falls 1.7 ms per beat of rate (Weissler 1968, from memory).
	et := 413 - 1.7*h.p.HR
	if h.c.ava[1] > 0 && h.c.ava[1] < 1 {
		et *= 1.08 // longer ejection in severe stenosis (from memory)
	}
	h.v["HR"], h.v["RR"] = h.p.HR, rr
	h.v["AVet"] = et * r.In(.98, 1.02)
	h.flow.fwd = r.In(h.c.svi[0], h.c.svi[1]) * h.bsa
}

// jets turns regurgitant orifices into volumes: RVol = EROA * VTI (Zoghbi 2017).
func (h *heart) jets(r *chance.Stream) {
	v, c := h.v, h.c
	et := v["AVet"]
	rvsp := r.In(c.rvsp[0], c.rvsp[1])
	if c.psV[1] > 0 { // RVSP = PASP + valve gradient (teaching rule PASP_PS)
		v["PVv"] = r.In(c.psV[0], c.psV[1])
		h.grade["PS"] = 3
		if v["PVv"] < 4 { // ACC/AHA 2018: 3-4 moderate
			h.grade["PS"] = 2
		}
		v["PASP"] = rvsp
		rvsp += 4 * v["PVv"] * v["PVv"]
	} else {
		v["PASP"] = rvsp
	}
	v["RVSP"], v["RAP"] = rvsp, float64(c.rap)
	v["TRv"] = math.Sqrt((rvsp - v["RAP"]) / 4) // Yock & Popp 1984
	trE := r.In(.03, .06)                       // trivial to mild
	if c.trE[1] > 0 {
		trE = r.In(c.trE[0], c.trE[1])
	}
	// TR lasts about 90 ms longer than ejection; VTI/(Vmax*time) 0.50-0.75 (C86).
	v["TRvti"] = v["TRv"] * 100 * (et + 90) / 1000 * r.In(.62, .66)
	h.flow.tr = trE * v["TRvti"]
	h.grade["TR"] = grade3(trE, .2, .4) // Hahn 2023: 20, 40 mm2
	v["TReroa"] = trE
	h.leftJets(r)
	if c.prVol[1] > 0 {
		h.flow.pr = r.In(c.prVol[0], c.prVol[1])
		h.grade["PR"] = 3
	}
	h.flow.asd = h.flow.fwd * r.In(c.asd[0], c.asd[1])
	h.flow.vsd = h.flow.fwd * r.In(c.vsd[0], c.vsd[1])
}

// leftJets: mitral and aortic leaks; jet velocities by Bernoulli from the
// pressures on both sides (LAP_MR, LVEDP_AR of formulas.csv).
func (h *heart) leftJets(r *chance.Stream) {
	v, c := h.v, h.c
	et, rr := v["AVet"], v["RR"]
	lap := []float64{9, 10, 16, 22}[c.fill] // common practice
	extra := 0.0
	if c.lvoto {
		extra = 45 // from memory: LV pressure above aortic by the dynamic gradient
	}
	if c.ava[1] > 0 && c.ava[1] < 1 {
		extra = 35 // part of the valve gradient (from memory)
	}
	if c.mrE[1] > 0 {
		e := r.In(c.mrE[0], c.mrE[1])
		v["MRv"] = math.Sqrt((h.p.SBP + extra - lap) / 4)
		// holosystolic, 85 ms beyond ejection, blunt envelope (from memory)
		v["MRvti"] = v["MRv"] * 100 * (et + 85) / 1000 * r.In(.71, .74)
		v["MReroa"] = e
		h.flow.mr = e * v["MRvti"]
		h.grade["MR"] = grade3(e, .2, .4) // Zoghbi 2017
	}
	if c.arE[1] > 0 {
		e := r.In(c.arE[0], c.arE[1])
		h.grade["AR"] = grade3(e, .1, .3) // Zoghbi 2017
		f := .80                          // mean over peak diastolic velocity, lower with a steep slope (from memory)
		if h.grade["AR"] == 3 {
			f = .70
		}
		// early diastolic aortic pressure lies about 12 above the cuff (from memory)
		v["ARv"] = math.Sqrt((h.p.DBP + 12 - lap) / 4)
		v["ARvti"] = v["ARv"] * 100 * (rr - et) / 1000 * f
		v["AReroa"] = e
		h.flow.ar = e * v["ARvti"]
	}
}

func grade3(x, mod, sev float64) int {
	switch {
	case x >= sev:
		return 3
	case x >= mod:
		return 2
	case x >= .065: // below: trace, not graded
		return 1
	}
	return 0
}

// sites applies conservation of mass to one beat.
func (h *heart) sites() {
	f := &h.flow
	f.lvot = f.fwd + f.ar
	f.lvTotal = f.lvot + f.mr + f.vsd
	f.mitral = f.lvTotal - f.ar
	f.rvot = f.fwd + f.asd + f.vsd + f.pr
	f.tv = f.fwd + f.asd + f.tr
	f.rvTotal = f.fwd + f.asd + f.pr + f.tr
}

// invTeich inverts V = 7/(2.4+D)*D^3 (Teichholz 1976).
func invTeich(vol float64) float64 {
	lo, hi := 1.0, 12.0
	for range 60 {
		d := (lo + hi) / 2
		if 7/(2.4+d)*d*d*d < vol {
			lo = d
		} else {
			hi = d
		}
	}
	return lo
}

func (h *heart) ventricle(r *chance.Stream) {
	v, c := h.v, h.c
	ef := r.In(c.ef[0], c.ef[1])
	h.edv = h.flow.lvTotal / (ef / 100)
	h.esv = h.edv - h.flow.lvTotal
	k := r.In(.87, .95) // 2D understates (Lang 2015; C43: 15-30 % at worst)
	v["EDV"], v["ESV"] = h.edv*k, h.esv*k
	d := r.In(.02, .04) // single planes differ little (C11: 5 %)
	v["EDV4"], v["ESV4"] = v["EDV"]*(1+d), v["ESV"]*(1+d*.9)
	v["EDV2"], v["ESV2"] = v["EDV"]*(1-d), v["ESV"]*(1-d*1.1)
	v["EDV3"], v["ESV3"] = h.edv*.97, h.esv*.97
	v["EF"] = ef
	t := r.In(.98, 1.02) // a symmetric ventricle meets Teichholz 1976
	v["LVIDd"], v["LVIDs"] = invTeich(h.edv*t), invTeich(h.esv*t)
	v["LVIDdMM"], v["LVIDsMM"] = v["LVIDd"]*r.Scatter(.01), v["LVIDs"]*r.Scatter(.01)
	w := r.In(c.wall[0], c.wall[1])
	if h.p.Sex == 'F' {
		w -= .08 // women 1 mm less (Lang 2015)
	}
	v["PWd"] = w
	// septum slightly above the posterior wall, common practice
	v["IVSd"] = w*r.In(1.0, 1.06) + c.septum
	v["GLS"] = -(ef * .33 * c.glsF) + r.In(-.5, .5) // -20 at EF 60, Lang 2015
	v["dPdt"] = 300 + 20*ef                         // > 1200 normal, < 1000 abnormal (Lang 2005)
}

func (h *heart) aortic(r *chance.Stream) {
	v, c, et := h.v, h.c, h.v["AVet"]
	// LVOT diameter grows with the body: 12.1 + 5.7*BSA mm (from memory).
	d := (1.21 + .57*h.bsa) * r.Scatter(.03)
	if h.grade["AR"] == 3 {
		d *= 1.08
	}
	v["LVOTd"] = chance.Clamp(d, 1.8, 2.6)
	area := math.Pi / 4 * v["LVOTd"] * v["LVOTd"]
	v["LVOTvti"] = h.flow.lvot / area
	f := r.In(.61, .66) // mean over peak velocity 0.55-0.75 (VTI_MEANV)
	v["LVOTv"] = v["LVOTvti"] / (et / 10 * f)
	ava := area * r.In(.80, .88) // AVA 3-4 cm2 in health (Baumgartner 2017)
	fa := f * r.In(.99, 1.02)
	v["AVat"] = et * r.In(.27, .31) // AT/ET above 0.35 in severe stenosis (C37)
	if c.ava[1] > 0 {
		ava = r.In(c.ava[0], c.ava[1])
		fa = r.In(.67, .71) // rounder envelope (from memory)
		if c.avV[1] > 0 {   // high gradient: the velocity is given (>= 4 m/s, Baumgartner 2017)
			ava = min(h.flow.lvot/(r.In(c.avV[0], c.avV[1])*et/10*fa), c.ava[1])
		}
		if ava < 1 {
			h.grade["AS"] = 3
			v["AVat"] = et * r.In(.36, .39)
		} else {
			fa = r.In(.63, .66)
		}
	}
	v["AVA"] = ava
	v["AVvti"] = h.flow.lvot / ava // continuity, Baumgartner 2009
	v["AVv"] = v["AVvti"] / (et / 10 * fa)
	// mean of v^2 over peak^2: a half sine gives 0.50; 0.45-0.75 (C33)
	v["AVmg"] = 4 * v["AVv"] * v["AVv"] * (fa*fa + .09)
	if c.lvoto { // late-peaking jet of the obstructed tract
		v["LVOTv"] = r.In(3.4, 4.2) // > 30 mmHg obstructs (ASE HCM, from memory)
	}
	if e := v["AReroa"]; e > 0 {
		v["ARva"] = chance.Pick(r, []float64{34, 36, 38})
		v["ARr"] = math.Sqrt(e * v["ARv"] * 100 / (2 * math.Pi * v["ARva"]))
		// vena contracta close to the width of a round orifice (Zoghbi 2017 pairs)
		v["ARvc"] = math.Sqrt(4*e/math.Pi) * r.In(.93, .99)
		v["ARpht"] = r.In(300, 380) // 200-500 moderate, < 200 severe (Zoghbi 2017)
		if h.grade["AR"] == 3 {
			v["ARpht"] = r.In(160, 190)
		}
	}
}

func (h *heart) mitral(r *chance.Stream) {
	v, c, age := h.v, h.c, float64(h.p.Age)
	// Filling by age: slopes chosen to meet Framingham 1992 E/A and the e'
	// limits of Nagueh 2016 (from memory between them).
	v["E"], v["A"] = .95-.0045*age, .28+.0075*age
	v["ePs"], v["ePl"] = 14.5-.105*age, 18.5-.13*age
	v["DT"], v["IVRT"] = 150+.9*age, 65+.45*age
	v["PVS"], v["PVD"] = .40+.003*age, .58-.002*age
	set := func(e, a, dt, es, el, ivrt, s, d float64) {
		v["E"], v["A"], v["DT"], v["ePs"], v["ePl"], v["IVRT"], v["PVS"], v["PVD"] = e, a, dt, es, el, ivrt, s, d
	}
	switch c.fill { // patterns of Nagueh 2016: E/A, DT, e', IVRT, S and D
	case 1:
		set(.62, .88, 245, 5.5, 7.2, 112, .62, .38)
	case 2:
		set(.96, .74, 185, 5.0, 6.6, 84, .42, .52)
	case 3:
		set(1.08, .50, 132, 4.4, 6.0, 62, .30, .58)
	}
	if h.grade["MR"] == 3 {
		v["E"], v["A"] = 1.38, .62 // E >= 1.2 m/s (Zoghbi 2017)
	}
	for _, k := range []string{"E", "A", "ePs", "ePl", "DT", "IVRT", "PVS", "PVD"} {
		v[k] *= r.Scatter(.04)
	}
	if c.eov[1] > 0 { // constriction keeps the medial e' (Klein 2013)
		v["ePs"] = r.In(c.eov[0], c.eov[1])
		v["ePl"] = v["ePs"] * .92
	}
	d := 2.3 + .5*h.bsa // mitral annulus, A4C (from memory)
	if h.grade["MR"] >= 2 {
		d *= 1.07 // dilated annulus (from memory)
	}
	v["MVann"] = d * r.Scatter(.02)
	v["MVavti"] = h.flow.mitral / (math.Pi / 4 * v["MVann"] * v["MVann"])
	v["MVvti"] = v["MVavti"] * 1.7 // tips narrower than the annulus (from memory)
	if c.mva[1] > 0 {
		h.stenosis(r)
	}
	if e := v["MReroa"]; e > 0 {
		// Nyquist lowered to 30-40 cm/s (Zoghbi 2017, from memory)
		v["MRva"] = chance.Pick(r, []float64{36, 38, 40})
		v["MRr"] = math.Sqrt(e * v["MRv"] * 100 / (2 * math.Pi * v["MRva"]))
		v["MRvc"] = math.Sqrt(4*e/math.Pi) * r.In(.93, 1.0)
		if h.grade["MR"] == 1 { // mild: below 3 mm (Zoghbi 2017)
			v["MRvc"] = r.In(.2, .28)
		}
	}
	if h.p.AF {
		delete(v, "A")
	}
}

// stenosis: native or prosthetic mitral orifice; 220/PHT (Hatle 1979).
func (h *heart) stenosis(r *chance.Stream) {
	v, c := h.v, h.c
	mva := r.In(c.mva[0], c.mva[1])
	v["MVA"], v["MVpht"] = mva, 220/mva
	v["MVvti"] = h.flow.mitral / mva
	// isovolumic times together 150 ms (Tei 1995, from memory)
	dft := (v["RR"] - v["AVet"] - 150) / 1000
	vm := v["MVvti"] / 100 / dft
	// mean of v^2 over squared mean, peak over mean: inflow shape (from memory)
	v["MVmg"] = 4 * vm * vm * 1.16
	v["MVv"] = vm * r.In(1.48, 1.56)
	v["E"] = v["MVv"] * r.In(.95, .99)
	v["A"] = v["E"] * r.In(.78, .9) // common practice
	v["DT"] = v["MVpht"] / .29
	if !c.prosMV {
		v["MVAp"] = mva * r.Scatter(.03)
		h.grade["MS"] = 3 // area <= 1.5 (ACC/AHA 2014)
	}
	// longitudinal motion reduced in mitral disease (from memory)
	v["ePs"], v["ePl"] = r.In(6, 7.5), r.In(7.2, 9)
}
