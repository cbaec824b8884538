package world

import (
	"math"
	"strconv"
)

func parseF(s string) float64 {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	return f
}

func g2(k string, n int) func(*report) bool {
	return func(rp *report) bool { return rp.h.grade[k] >= n }
}

func anyLeak(rp *report) bool {
	g := rp.h.grade
	return g["AR"] >= 2 || g["PR"] >= 2 || rp.h.flow.asd+rp.h.flow.vsd > 0
}

func mitralLeak(rp *report) bool {
	return rp.h.grade["MR"] >= 1 || rp.h.grade["AR"] >= 1 || rp.h.flow.vsd > 0 || rp.h.grade["MS"] > 0
}

func lvoto(rp *report) bool { return rp.h.c.lvoto }

func mvSV(g func(string) float64) float64 {
	return math.Pi / 4 * g("MVann") * g("MVann") * g("MVavti")
}

// bands: order, flow agreement and cross-method ranges.
var bands = []band{
	{"C31", []string{"LVIDs", "LVIDd"}, div("LVIDs", "LVIDd", 1), .38, .93, .02, nil},
	{"C32", []string{"ESV", "EDV"}, div("ESV", "EDV", 1), .12, .9, .03, nil},
	{"C32", []string{"RVESA", "RVEDA"}, div("RVESA", "RVEDA", 1), .25, .95, .03, nil},
	{"C04", []string{"IVCi", "IVCe"}, div("IVCi", "IVCe", 1), .02, 1, .02, nil},
	{"C33", []string{"AVmg", "AVpg"}, div("AVmg", "AVpg", 1), .38, .82, .03, nil},
	{"C33", []string{"MVmg", "MVpg"}, div("MVmg", "MVpg", 1), .2, .8, .03, nil},
	{"C33", []string{"PVmg", "PVpg"}, div("PVmg", "PVpg", 1), .38, .82, .03, nil},
	{"C34", []string{"LVOTv", "AVv"}, div("LVOTv", "AVv", 1), 0, 1.02, .03, lvoto},
	{"C34", []string{"LVOTvti", "AVvti"}, div("LVOTvti", "AVvti", 1), 0, 1.02, .03, nil},
	{"C35", []string{"E", "MVv"}, div("E", "MVv", 1), .3, 1.1, .05, nil},
	{"C36", []string{"AVvti", "AVv", "AVet"}, func(g func(string) float64) float64 { return g("AVvti") * 10 / (g("AVv") * g("AVet")) }, .45, .85, .03, nil},
	{"C36", []string{"LVOTvti", "LVOTv", "AVet"}, func(g func(string) float64) float64 { return g("LVOTvti") * 10 / (g("LVOTv") * g("AVet")) }, .45, .85, .03, nil},
	{"C37", []string{"AVat", "AVet"}, div("AVat", "AVet", 1), .2, .55, .03, nil},
	{"C37", []string{"PVat", "RVet"}, div("PVat", "RVet", 1), .12, .55, .03, nil},
	{"C39", []string{"ANN", "SOV"}, div("ANN", "SOV", 1), .4, 1, .03, nil},
	{"C39", []string{"STJ", "SOV"}, func(g func(string) float64) float64 { return g("STJ") - g("SOV") }, -1.6, .2, .06, nil},
	{"C39", []string{"LVOTd", "ANN"}, func(g func(string) float64) float64 { return g("LVOTd") - g("ANN") }, -.33, .33, .06, nil},
	{"C43", []string{"SV", "EDV", "ESV"}, func(g func(string) float64) float64 { return g("SV") / (g("EDV") - g("ESV")) }, .7, 1.5, .08, func(rp *report) bool { return rp.h.grade["MR"] >= 1 || rp.h.flow.vsd > 0 }},
	{"C44", []string{"SV", "RVSV"}, div("SV", "RVSV", 1), .8, 1.25, .05, anyLeak},
	{"C45", []string{"SV", "MVann", "MVavti"}, func(g func(string) float64) float64 { return mvSV(g) / g("SV") }, .8, 1.25, .06, mitralLeak},
	{"C47", []string{"CI"}, func(g func(string) float64) float64 { return g("CI") }, 1.2, 6, .2, g2("AR", 2)},
	{"C55", []string{"AVA", "AVAv"}, div("AVAv", "AVA", 1), .85, 1.16, .04, nil},
	{"C60", []string{"MVA", "MVAp"}, func(g func(string) float64) float64 { return g("MVA") - g("MVAp") }, -.45, .45, .08, nil},
	{"C61", []string{"MVmg", "MVA"}, func(g func(string) float64) float64 { return g("MVmg") * g("MVA") }, 4.0, 20, .8, func(rp *report) bool { return rp.h.grade["MS"] == 0 }},
	{"C63", []string{"MRv", "SBP"}, func(g func(string) float64) float64 { return 4*g("MRv")*g("MRv") - g("SBP") }, -70, 25, 6, func(rp *report) bool { return rp.h.c.lvoto || rp.h.grade["AS"] > 0 }},
	{"C67", []string{"TRv", "PVat"}, func(g func(string) float64) float64 {
		if g("TRv") > 3.4 {
			return g("PVat") / 130
		}
		return .5
	}, 0, 1, .08, func(rp *report) bool { return rp.h.c.psV[1] > 0 }},
	{"C69", []string{"MPAP", "PASP"}, div("MPAP", "PASP", 1), .3, 1, .02, nil},
	{"C72", []string{"TAPSE", "RVS"}, div("TAPSE", "RVS", 10), 1.0, 3.0, .12, nil},
	{"C77", []string{"TVE", "E"}, div("TVE", "E", 1), .3, 1.5, .06, func(rp *report) bool {
		return rp.h.grade["TR"] >= 3 || rp.h.flow.asd > 0 || rp.h.c.mva[1] > 0 || rp.h.grade["MR"] == 3
	}},
	{"C78", []string{"TVEin", "TVEex"}, func(g func(string) float64) float64 { return g("TVEin") - g("TVEex") }, 0, 9, .03, nil},
	{"C79", []string{"Einsp", "Eexp"}, func(g func(string) float64) float64 { return g("Eexp") - g("Einsp") }, 0, 9, .03, nil},
	{"C84", []string{"RVD1", "TVann"}, func(g func(string) float64) float64 { return g("RVD1") - g("TVann") }, -.3, 9, .06, nil},
	{"C85", []string{"TVann", "TVanns"}, div("TVanns", "TVann", 1), .5, 1, .02, nil},
	{"C11", []string{"EDV", "EDV4", "EDV2"}, betweenF("EDV", "EDV4", "EDV2"), -.05, .05, .03, nil},
	{"C11", []string{"ESV", "ESV4", "ESV2"}, betweenF("ESV", "ESV4", "ESV2"), -.05, .05, .03, nil},
	{"C92", []string{"LVIDdMM", "LVIDd"}, div("LVIDdMM", "LVIDd", 1), .87, 1.15, .04, nil},
	{"C92", []string{"LVIDsMM", "LVIDs"}, div("LVIDsMM", "LVIDs", 1), .85, 1.17, .04, nil},
	{"C43", []string{"EDV3", "EDV"}, div("EDV3", "EDV", 1), .8, 1.4, .06, nil},
}

// betweenF is 0 inside the two single planes, else the relative distance.
func betweenF(b, a4, a2 string) fn {
	return func(g func(string) float64) float64 {
		lo, hi := math.Min(g(a4), g(a2)), math.Max(g(a4), g(a2))
		switch {
		case g(b) < lo:
			return (g(b) - lo) / lo
		case g(b) > hi:
			return (g(b) - hi) / hi
		}
		return 0
	}
}

// hardLimits are hard_low and hard_high of limits.csv in canonical units.
var hardLimits = map[string][2]float64{
	"LVIDd": {2, 10}, "LVIDs": {1, 9}, "IVSd": {.3, 4}, "PWd": {.3, 3}, "Mass": {40, 900}, "MassI": {20, 450},
	"LVIDdMM": {2, 10}, "LVIDsMM": {1, 9}, "RWT": {.12, 1.6}, "EDV": {20, 600}, "ESV": {4, 550}, "EDVi": {12, 350}, "ESVi": {2, 320},
	"EF": {5, 90}, "EF4": {5, 90}, "EF3": {5, 90}, "EFTei": {5, 90}, "FS": {3, 65}, "GLS": {-32, -2}, "dPdt": {150, 4500},
	"LVOTd": {1.3, 3.2}, "LVOTvti": {4, 50}, "LVOTv": {.3, 6}, "SV": {15, 220}, "SVi": {8, 110}, "CO": {1, 20}, "CI": {.8, 9},
	"E": {.15, 3.5}, "A": {.10, 2.5}, "EA": {.2, 6}, "DT": {60, 2100}, "IVRT": {20, 220}, "ePs": {1, 25}, "ePl": {1, 30},
	"Eea": {2, 60}, "Ees": {2, 70}, "Eel": {2, 60}, "LAVi": {6, 250}, "LAap": {1.5, 9}, "LAA4": {5, 90}, "LAA2": {5, 90},
	"RVD1": {1.2, 8}, "RVD2": {.8, 7.5}, "RVD3": {3, 13}, "RVEDA": {4, 80}, "RVESA": {2, 70}, "FAC": {3, 80}, "TAPSE": {.4, 4},
	"RVS": {1, 30}, "RIMP": {.05, 2.5}, "RAA": {5, 90}, "RAVi": {4, 250}, "IVCe": {.3, 5}, "IVCc": {0, 100}, "RAP": {0, 30},
	"TVann": {1.5, 7.5}, "TVE": {.1, 2.5}, "TVAw": {.05, 2}, "TVEA": {.3, 5}, "TRv": {1, 6.5}, "TRpg": {4, 169}, "TRvc": {.05, 4},
	"TReroa": {0, 2.5}, "TRrvol": {0, 250}, "TRr": {0, 2.5}, "PVat": {25, 260}, "RVOTvti": {4, 45}, "PRv": {.3, 5.5}, "PRed": {.2, 4},
	"MPA": {1, 8}, "COUP": {.03, 2.5}, "PVR": {.3, 25}, "PASP": {8, 170}, "MPAP": {5, 120}, "ANN": {1.2, 4.5}, "SOV": {1.5, 9},
	"STJ": {1.3, 9}, "ASC": {1.3, 11}, "ARCH": {1, 9}, "AVv": {.5, 8}, "AVmg": {.5, 150}, "AVA": {.2, 7}, "AVAi": {.1, 4},
	"DVI": {.08, 1.3}, "ARvc": {.05, 2.5}, "ARpht": {50, 1500}, "ARrvol": {0, 250}, "ARrf": {0, 85}, "AReroa": {0, 1.2},
	"MRvc": {.05, 2}, "MReroa": {0, 2}, "MRrvol": {0, 250}, "MRrf": {0, 85}, "MRv": {2.5, 8.5}, "MVA": {.3, 10}, "MVmg": {.3, 40},
	"MVpht": {20, 600}, "PVv": {.3, 7}, "PRpht": {20, 800}, "QpQs": {.2, 6}, "EFF": {0, 8}, "HR": {25, 250}, "PVSD": {.05, 4},
	"PVS": {-1.5, 2},
}

// limits checks the hard plausibility limits on every written number.
func (s shown) limits() []viol {
	var out []viol
	for _, it := range s.rp.items {
		l, ok := hardLimits[it.key]
		v, ok2 := it.canon()
		if !ok || !ok2 {
			continue
		}
		if negative[it.key] && s.rp.d.negReg {
			v = -v
		}
		if it.key == "GLS" && s.rp.d.absGLS {
			v = -v
		}
		if v < 0 && negative[it.key] { // one sign against all others of its kind
			out = append(out, viol{"C65", 2, []string{it.key}})
			continue
		}
		if v < l[0] {
			out = append(out, viol{"limit:" + it.key, 1 + .5*(l[0]-v)/(.04*math.Abs(l[0])+1e-9), []string{it.key}})
		}
		if v > l[1] {
			out = append(out, viol{"limit:" + it.key, 1 + .5*(v-l[1])/(.04*math.Abs(l[1])+1e-9), []string{it.key}})
		}
	}
	return out
}
