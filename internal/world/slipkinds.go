package world

import (
	"fmt"
	"math"
	"strings"

	"echotally/internal/world/chance"
)

var digitKeys = []string{"EDV", "ESV", "LAV", "SV", "Mass", "AVmg", "LVOTvti", "TRv", "LVIDd", "IVRT", "RVEDA", "MVpht", "RVSP", "AVA"}

func fixed(x float64) func(*chance.Stream) float64 { return func(*chance.Stream) float64 { return x } }

// unitKinds: decimal points, unit factors, digits.
var unitKinds = []slipKind{
	{name: "decimal-point", dials: typists, cause: "decimal", text: "decimal point one place off", apply: anyOf([]string{"EDV", "LAV", "SV", "Mass", "E", "LVOTvti", "TAPSE", "RVSP", "AVA"}, func(k string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			x := 10.0
			if r.Chance(.5) {
				x = .1
			}
			return times(x)(k)(rp, r)
		}
	})},
	{name: "velocity-factor-100", cause: "unit-factor", text: "m/s and cm/s mixed up", apply: anyOf([]string{"AVv", "E", "TRv", "LVOTv"}, func(k string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			it := rp.mainItem(k)
			if it != nil && it.u.code == "cm/s" {
				return times(.01)(k)(rp, r)
			}
			return times(100)(k)(rp, r)
		}
	})},
	{name: "cm-as-mm", cause: "unit-factor", text: "a length in cm typed into a field of mm, or the reverse", apply: anyOf([]string{"LVOTd", "LVIDd", "IVSd", "TAPSE", "SOV", "RVD1"}, func(k string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			it := rp.mainItem(k)
			if it != nil && it.u.code == "mm" {
				return times(.1)(k)(rp, r)
			}
			return times(10)(k)(rp, r)
		}
	})},
	{name: "unit-label-length", cause: "unit-factor", text: "right number under the wrong unit of length", apply: func(rp *report, r *chance.Stream) []string {
		if rp.d.units[kLen].code == "mm" {
			return relabel("LVIDd", unit{"cm", "cm", 1, 0})(rp, r)
		}
		return relabel("LVIDd", unit{"mm", "mm", 10, 0})(rp, r)
	}},
	{name: "unit-label-velocity", cause: "unit-factor", text: "right number under the wrong unit of velocity", apply: func(rp *report, r *chance.Stream) []string {
		if rp.d.units[kVel].code == "cm/s" {
			return relabel("E", unit{"m/s", "m/s", 1, 0})(rp, r)
		}
		return relabel("E", unit{"cm/s", "cm/s", 100, 0})(rp, r)
	}},
	{name: "orifice-cm2-mm2", cause: "unit-factor", text: "orifice in mm2 written as cm2 or the reverse", conds: []string{"ar-moderate", "ar-severe", "mr-primary-severe", "mr-secondary", "tr-severe"}, apply: anyOf([]string{"AReroa", "MReroa", "TReroa"}, func(k string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			it := rp.mainItem(k)
			if it != nil && it.u.code == "mm2" {
				return times(.01)(k)(rp, r)
			}
			return times(100)(k)(rp, r)
		}
	})},
	{name: "tissue-velocity-unit", cause: "unit-factor", text: "e' in the other unit of velocity", apply: func(rp *report, r *chance.Stream) []string {
		if rp.d.units[kTis].code == "m/s" {
			return times(100)("ePs")(rp, r)
		}
		return times(.01)("ePs")(rp, r)
	}},
	{name: "time-s-ms", cause: "unit-factor", text: "acceleration time in seconds under ms or the reverse", apply: func(rp *report, r *chance.Stream) []string {
		if rp.d.units[kTime].code == "s" {
			return times(1000)("PVat")(rp, r)
		}
		return times(.001)("PVat")(rp, r)
	}},
	{name: "output-in-ml", dials: typists, cause: "unit-factor", text: "cardiac output in ml/min under l/min", apply: times(1000)("CO")},
	{name: "atrial-length-mm", cause: "unit-factor", text: "left atrial volume computed with the length in mm", apply: forced("LAV", func(v float64, _ map[string]float64) float64 { return v / 10 })},
	{name: "digits-exchanged", dials: typists, cause: "digits-exchanged", text: "two digits exchanged", apply: anyOf(digitKeys, typed(func(s string, r *chance.Stream) string { return transpose(s) }))},
	{name: "digit-dropped", dials: typists, cause: "digit-dropped", text: "a digit left out", apply: anyOf(digitKeys, typed(func(s string, r *chance.Stream) string { return dropDigit(s, r.IntN(min(3, len(s)))) }))},
	{name: "digit-doubled", dials: typists, cause: "digit-doubled", text: "a digit typed twice", apply: anyOf(digitKeys, typed(func(s string, r *chance.Stream) string {
		if strings.HasPrefix(s, "0") || strings.HasPrefix(s, "-") {
			return s
		}
		return s[:1] + s
	}))},
}

func swapKind(name, cause, text string, a, b string, conds ...string) slipKind {
	return slipKind{name: name, cause: cause, text: text, conds: conds,
		apply: func(rp *report, r *chance.Stream) []string { return rp.swap(a, b) }}
}

// swapMany exchanges pairs at once (whole sites).
func swapMany(pairs ...[2]string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		var out []string
		for _, p := range pairs {
			out = append(out, rp.swap(p[0], p[1])...)
		}
		if len(out) < 4 {
			return nil
		}
		return out
	}
}

// swapKinds: two values, two sites, two phases.
var swapKinds = []slipKind{
	swapKind("swap-lvidd-lvids", "two-values-exchanged", "diastolic and systolic LV diameter exchanged", "LVIDd", "LVIDs"),
	swapKind("swap-edv-esv", "two-values-exchanged", "diastolic and systolic LV volume exchanged", "EDV", "ESV"),
	swapKind("swap-ivs-lvid", "two-values-exchanged", "septum and cavity exchanged", "IVSd", "LVIDd"),
	swapKind("swap-av-gradients", "two-values-exchanged", "mean and peak aortic gradient exchanged", "AVmg", "AVpg", "as-severe-high-gradient", "as-low-flow-low-ef", "prosthesis-aortic", "ar-severe"),
	swapKind("swap-mv-gradients", "two-values-exchanged", "mean and peak mitral gradient exchanged", "MVmg", "MVpg", "mitral-stenosis", "prosthesis-mitral"),
	swapKind("swap-rv-areas", "two-values-exchanged", "RV areas of diastole and systole exchanged", "RVEDA", "RVESA"),
	swapKind("swap-ivc", "two-values-exchanged", "caval diameters of expiration and inspiration exchanged", "IVCe", "IVCi"),
	swapKind("swap-e-a", "two-values-exchanged", "E and A exchanged", "E", "A"),
	swapKind("swap-vti", "two-values-exchanged", "LVOT and aortic VTI exchanged", "LVOTvti", "AVvti", "as-severe-high-gradient", "as-low-flow-low-ef", "as-low-flow-preserved-ef", "prosthesis-aortic"),
	swapKind("swap-annulus-sinus", "two-values-exchanged", "annulus and sinus exchanged", "ANN", "SOV"),
	swapKind("swap-tv-annulus-phase", "two-values-exchanged", "tricuspid annulus of diastole and systole exchanged", "TVann", "TVanns"),
	swapKind("swap-e-resp", "two-values-exchanged", "mitral E of inspiration and expiration exchanged", "Einsp", "Eexp", "constriction", "pericardial-effusion"),
	swapKind("swap-tv-e-resp", "two-values-exchanged", "tricuspid E of inspiration and expiration exchanged", "TVEin", "TVEex", "constriction", "pericardial-effusion"),
	swapKind("swap-la-av-time", "two-values-exchanged", "acceleration and ejection time exchanged", "AVat", "AVet"),
	{name: "sites-av-lvot", cause: "wrong-site", text: "aortic valve and outflow tract exchanged as a whole", conds: []string{"as-severe-high-gradient", "as-low-flow-low-ef", "as-low-flow-preserved-ef", "prosthesis-aortic"}, apply: swapMany([2]string{"AVv", "LVOTv"}, [2]string{"AVvti", "LVOTvti"})},
	{name: "sites-mv-tv", cause: "wrong-site", text: "mitral and tricuspid inflow exchanged as a whole", apply: swapMany([2]string{"E", "TVE"}, [2]string{"A", "TVAw"})},
	{name: "sites-annuli", cause: "wrong-site", text: "septal and lateral e' exchanged", apply: func(rp *report, r *chance.Stream) []string { return rp.swap("ePs", "ePl") }},
	{name: "ratio-inverted-ea", cause: "ratio-inverted", text: "A/E in place of E/A", apply: forced("EA", func(v float64, _ map[string]float64) float64 { return 1 / v })},
	{name: "ratio-inverted-qpqs", cause: "ratio-inverted", text: "Qs/Qp in place of Qp/Qs", conds: []string{"asd", "vsd"}, apply: forced("QpQs", func(v float64, _ map[string]float64) float64 { return 1 / v })},
	{name: "ratio-inverted-pv", cause: "ratio-inverted", text: "D/S in place of S/D", apply: forced("PVSD", func(v float64, _ map[string]float64) float64 { return 1 / v })},
	{name: "ratio-inverted-dvi", cause: "ratio-inverted", text: "aortic over outflow VTI in place of the reverse", dials: []string{"brundo", "lomvist", "quessal"}, conds: []string{"as-severe-high-gradient", "prosthesis-aortic", "as-low-flow-low-ef"}, apply: forced("DVI", func(v float64, _ map[string]float64) float64 { return 1 / v })},
}

// beatKinds: wrong beat, wrong window, wrong mean, wrong rate.
var beatKinds = []slipKind{
	{name: "wrong-beat", cause: "wrong-beat", text: "a beat after an extrasystole among the beats", dials: []string{"tarnvik", "quessal", "brundo", "kardun", "pindrel", "xanthe"}, apply: anyOf([]string{"LVOTvti", "AVvti", "TRv"}, func(k string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			rs := rp.raw[k]
			if len(rs) < 3 || rp.rhythmAF {
				return nil
			}
			rs[2].v *= r.In(1.52, 1.62)
			rp.again()
			return []string{fmt.Sprintf("%s|%s|beat|3", k, rs[2].win)}
		}
	})},
	{name: "mean-not-of-beats", cause: "wrong-mean", text: "the mean is not the mean of its beats", dials: []string{"tarnvik", "brundo", "kardun"}, apply: anyOf([]string{"LVOTvti", "E", "ePs", "LVIDd", "DT"}, func(k string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			it := rp.mainItem(k)
			if it == nil || it.role != "mean" {
				return nil
			}
			it.write(it.v * r.In(1.07, 1.11))
			rp.syncCopies()
			return []string{k}
		}
	})},
	{name: "mean-of-other-window", cause: "wrong-window", text: "the mean of one window is that of another", dials: []string{"tarnvik", "brundo", "kardun"}, apply: func(rp *report, r *chance.Stream) []string {
		var a, b *item
		for _, it := range rp.items {
			if it.key == "TRv" && it.role == "mean" {
				if a == nil {
					a = it
				} else {
					b = it
				}
			}
		}
		if b == nil {
			return nil
		}
		a.write(b.v)
		return []string{"TRv"}
	}},
	{name: "output-rate-of-other-clip", cause: "wrong-input", text: "cardiac output computed with the resting rate, not with that of the clip", prep: func(pf *profile, r *chance.Stream) { pf.restHR = 1.11 }, apply: func(rp *report, r *chance.Stream) []string {
		rest := parseF(rp.patHR)
		return forced("CO", func(v float64, val map[string]float64) float64 { return v * rest / val["HR"] })(rp, r)
	}},
	{name: "rate-not-of-rr", cause: "wrong-input", text: "heart rate does not belong to its R-R interval", apply: func(rp *report, r *chance.Stream) []string {
		it := rp.mainItem("HR")
		if it == nil {
			return nil
		}
		it.write(math.Round(it.v * r.In(1.18, 1.3)))
		return []string{"HR"}
	}},
	{name: "beat-as-mean", cause: "wrong-mean", text: "the largest beat given as the mean", conds: []string{"atrial-fibrillation"}, dials: []string{"tarnvik", "brundo", "kardun"}, apply: func(rp *report, r *chance.Stream) []string {
		var mean, top *item
		for _, it := range rp.items {
			if it.key != "LVOTvti" {
				continue
			}
			if it.role == "mean" {
				mean = it
			}
			if it.role == "beat" && (top == nil || it.v > top.v) {
				top = it
			}
		}
		if mean == nil || top == nil {
			return nil
		}
		mean.write(top.v)
		return []string{"LVOTvti"}
	}},
	{name: "window-far-off", cause: "wrong-site", text: "another jet taken for tricuspid regurgitation in one window", apply: func(rp *report, r *chance.Stream) []string {
		rs := rp.raw["TRv"]
		if len(rs) == 0 {
			return nil
		}
		x := r.In(4.9, 5.4) / rp.h.v["TRv"] // a mitral jet (MR Vmax 4-6 m/s, textbook)
		if x < 1.3 {
			return nil
		}
		for i := range rs {
			if rs[i].win == "RVIN" {
				rs[i].v *= x
			}
		}
		rp.again()
		return []string{"TRv"}
	}},
}
