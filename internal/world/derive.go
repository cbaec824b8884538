package world

import "math"

// formula computes one derived value; need lists its inputs. Names follow the
// ids of formulas.csv.
type formula struct {
	out  string
	need []string
	f    func(g func(string) float64) float64
}

func ratioF(out, a, b string, k float64) formula {
	return formula{out, []string{a, b}, func(g func(string) float64) float64 { return k * g(a) / g(b) }}
}

func gradF(out, v string) formula { // GRAD_PEAK, Hatle 1978
	return formula{out, []string{v}, func(g func(string) float64) float64 { return 4 * g(v) * g(v) }}
}

func volEF(out, d, s string) formula { // EF_VOL, Lang 2015
	return formula{out, []string{d, s}, func(g func(string) float64) float64 { return 100 * (g(d) - g(s)) / g(d) }}
}

func pisa(p string) []formula { // EROA_PISA and RVOL_PISA, Zoghbi 2017
	return []formula{
		{p + "eroa", []string{p + "r", p + "va", p + "v"}, func(g func(string) float64) float64 {
			return 2 * math.Pi * g(p+"r") * g(p+"r") * g(p+"va") / (100 * g(p+"v"))
		}},
		{p + "rvol", []string{p + "eroa", p + "vti"}, func(g func(string) float64) float64 {
			return g(p+"eroa") * g(p+"vti")
		}},
	}
}

func teich(d float64) float64 { return 7 / (2.4 + d) * d * d * d }

func lvMass(s, d, p float64) float64 { // LVM_CUBE, Devereux 1986
	t := s + d + p
	return 0.8*1.04*(t*t*t-d*d*d) + 0.6
}

// formulas in order of dependence; "BSA" is supplied by the demographics.
var formulas = func() []formula {
	fs := []formula{
		{"FS", []string{"LVIDd", "LVIDs"}, func(g func(string) float64) float64 { return 100 * (g("LVIDd") - g("LVIDs")) / g("LVIDd") }},
		{"EFTei", []string{"LVIDd", "LVIDs"}, func(g func(string) float64) float64 {
			a, b := teich(g("LVIDd")), teich(g("LVIDs"))
			return 100 * (a - b) / a
		}},
		volEF("EF", "EDV", "ESV"), volEF("EF4", "EDV4", "ESV4"), volEF("EF3", "EDV3", "ESV3"),
		ratioF("EDVi", "EDV", "BSA", 1), ratioF("ESVi", "ESV", "BSA", 1),
		{"Mass", []string{"IVSd", "LVIDd", "PWd"}, func(g func(string) float64) float64 { return lvMass(g("IVSd"), g("LVIDd"), g("PWd")) }},
		ratioF("MassI", "Mass", "BSA", 1),
		ratioF("RWT", "PWd", "LVIDd", 2),
		ratioF("EA", "E", "A", 1),
		ratioF("Ees", "E", "ePs", 100), ratioF("Eel", "E", "ePl", 100),
		{"Eea", []string{"E", "ePs", "ePl"}, func(g func(string) float64) float64 { return 200 * g("E") / (g("ePs") + g("ePl")) }},
		gradF("LVOTpg", "LVOTv"), gradF("TRpg", "TRv"), gradF("PVpg", "PVv"), gradF("MVpg", "MVv"), gradF("VSDpg", "VSDv"),
		{"SV", []string{"LVOTd", "LVOTvti"}, func(g func(string) float64) float64 {
			return math.Pi / 4 * g("LVOTd") * g("LVOTd") * g("LVOTvti")
		}},
		ratioF("SVi", "SV", "BSA", 1),
		{"CO", []string{"SV", "HR"}, func(g func(string) float64) float64 { return g("SV") * g("HR") / 1000 }},
		ratioF("CI", "CO", "BSA", 1),
		{"AVA", []string{"SV", "AVvti"}, func(g func(string) float64) float64 { return g("SV") / g("AVvti") }},
		{"AVAv", []string{"LVOTd", "LVOTv", "AVv"}, func(g func(string) float64) float64 {
			return math.Pi / 4 * g("LVOTd") * g("LVOTd") * g("LVOTv") / g("AVv")
		}},
		ratioF("AVAi", "AVA", "BSA", 1),
		ratioF("DVI", "LVOTvti", "AVvti", 1),
		volEF("FAC", "RVEDA", "RVESA"),
		{"RVSV", []string{"RVOTd", "RVOTvti"}, func(g func(string) float64) float64 {
			return math.Pi / 4 * g("RVOTd") * g("RVOTd") * g("RVOTvti")
		}},
		{"RIMP", []string{"TCO", "RVet"}, func(g func(string) float64) float64 { return (g("TCO") - g("RVet")) / g("RVet") }},
		ratioF("TVEA", "TVE", "TVAw", 1), ratioF("PVSD", "PVS", "PVD", 1),
		{"MVA", []string{"MVpht"}, func(g func(string) float64) float64 { return 220 / g("MVpht") }},
		{"LAV", []string{"LAA4", "LAA2", "LAL"}, func(g func(string) float64) float64 { return .85 * g("LAA4") * g("LAA2") / g("LAL") }},
		ratioF("LAVi", "LAV", "BSA", 1),
		{"IVCc", []string{"IVCe", "IVCi"}, func(g func(string) float64) float64 { return 100 * (g("IVCe") - g("IVCi")) / g("IVCe") }},
		{"RVSP", []string{"TRpg", "RAP"}, func(g func(string) float64) float64 { return g("TRpg") + g("RAP") }},
		{"MPAP", []string{"PASP"}, func(g func(string) float64) float64 { return .61*g("PASP") + 2 }},
		ratioF("COUP", "TAPSE", "PASP", 10),
		{"PVR", []string{"TRv", "RVOTvti"}, func(g func(string) float64) float64 { return 10*g("TRv")/g("RVOTvti") + .16 }},
	}
	fs = append(fs, pisa("AR")...)
	fs = append(fs, pisa("MR")...)
	fs = append(fs, pisa("TR")...)
	fs = append(fs, ratioF("ARrf", "ARrvol", "SV", 100))
	return fs
}()

// derive runs the scanner's arithmetic on the chosen values.
func derive(h *heart, d *dialect, raw rawSet, bsa float64) map[string]float64 {
	mode := "mean"
	if d.mode == "best" {
		mode = "best"
	}
	pk := raw.picker(mode)
	val := map[string]float64{"BSA": bsa}
	for k := range raw {
		if v, ok := pk(k); ok {
			val[k] = v
		}
	}
	rapStep(h, d, val)
	for _, f := range formulas {
		if hasAll(val, f.need) {
			val[f.out] = f.f(func(k string) float64 { return val[k] })
			if h.force[f.out] != nil {
				val[f.out] = h.force[f.out](val[f.out], val)
			}
			pasp(h, f.out, val)
		}
	}
	bernoulli(h, d, val)
	if d.prodMean {
		productMean(raw, val)
	}
	flowRatios(h, val)
	for _, k := range []string{"QpQs", "MRrf", "AVpg"} {
		if v, ok := val[k]; ok && h.force[k] != nil {
			val[k] = h.force[k](v, val)
		}
	}
	return val
}

// pasp fills the pulmonary pressure as soon as RVSP is known: less the valve
// gradient in pulmonary stenosis (PASP_PS).
func pasp(h *heart, out string, val map[string]float64) {
	if out != "RVSP" {
		return
	}
	val["PASP"] = val["RVSP"]
	if h.c.psV[1] > 0 {
		val["PASP"] -= val["PVpg"]
	}
}

func hasAll(val map[string]float64, need []string) bool {
	for _, k := range need {
		if _, ok := val[k]; !ok {
			return false
		}
	}
	return true
}

// rapStep estimates RA pressure from the cava: 3/8/15 (Rudski 2010) or the
// older 5/10/15 (common practice before 2010).
func rapStep(h *heart, d *dialect, val map[string]float64) {
	e, ok := val["IVCe"]
	if !ok {
		return
	}
	c := 100 * (e - val["IVCi"]) / e
	steps := []float64{3, 8, 15}
	if d.oldRAP {
		steps = []float64{5, 10, 15}
	}
	switch {
	case e <= 2.1 && c > 50:
		val["RAP"] = steps[0]
	case e > 2.1 && c < 50:
		val["RAP"] = steps[2]
	default:
		val["RAP"] = steps[1]
	}
	if h.force["RAP"] != nil {
		val["RAP"] = h.force["RAP"](val["RAP"], val)
	}
}

// bernoulli fills the aortic gradient, full form where the scanner uses it.
func bernoulli(h *heart, d *dialect, val map[string]float64) {
	v, ok := val["AVv"]
	if !ok {
		return
	}
	val["AVpg"] = 4 * v * v
	if v1, ok := val["LVOTv"]; ok && d.full && !h.c.lvoto {
		val["AVpg"] = 4 * (v*v - v1*v1) // GRAD_FULL, Baumgartner 2009
	}
	if h.c.lvoto {
		delete(val, "AVAv")
	}
}

// productMean computes the stroke volume beat by beat, then averages.
func productMean(raw rawSet, val map[string]float64) {
	d, w := raw["LVOTd"], raw["LVOTvti"]
	if len(d) == 0 || len(d) != len(w) {
		return
	}
	sum := 0.0
	for i := range d {
		sum += math.Pi / 4 * d[i].v * d[i].v * w[i].v
	}
	old, sv := val["SV"], sum/float64(len(d))
	for _, k := range []string{"SV", "SVi", "CO", "CI", "AVA", "AVAi"} {
		if v, ok := val[k]; ok {
			val[k] = v * sv / old
		}
	}
}

// flowRatios: Qp/Qs only in shunts; MR fraction over the total stroke volume
// by mitral inflow (Zoghbi 2017).
func flowRatios(h *heart, val map[string]float64) {
	if h.flow.asd+h.flow.vsd > 0 && hasAll(val, []string{"RVSV", "SV"}) {
		val["QpQs"] = val["RVSV"] / val["SV"]
	}
	if hasAll(val, []string{"MRrvol", "MVann", "MVavti"}) {
		d := val["MVann"]
		val["MRrf"] = 100 * val["MRrvol"] / (math.Pi / 4 * d * d * val["MVavti"])
	}
}
