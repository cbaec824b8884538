package world

import (
	"math"
	"strconv"

	"echotally/internal/world/chance"
)

// older prepares a reading that was replaced; only a scanner that keeps old
// readings shows it.
func older(key string) func(*profile, *chance.Stream) {
	return func(pf *profile, r *chance.Stream) {
		pf.oldKey, pf.oldF = key, r.In(1.16, 1.24)
		if r.Chance(.5) {
			pf.oldF = r.In(.78, .84)
		}
	}
}

// typists are the dialects whose numbers are short enough to be typed.
var typists = []string{"olmery", "quessal", "brundo", "vethra", "kardun", "lomvist", "wexular", "ungert", "xanthe"}

// formKinds: wrong forms of a formula, wrong inputs, radius and diameter.
var formKinds = []slipKind{
	{name: "radius-as-diameter", cause: "radius-diameter", text: "the radius of the outflow tract entered as its diameter", apply: rawScale("LVOTd", fixed(.5))},
	{name: "diameter-as-radius", cause: "radius-diameter", text: "stroke volume computed with the diameter as radius", apply: forced("SV", func(v float64, _ map[string]float64) float64 { return v * 4 })},
	{name: "half-shell", cause: "wrong-form", text: "flow convergence computed with a whole sphere", conds: []string{"ar-moderate", "ar-severe", "mr-primary-severe", "mr-secondary", "tr-severe"}, apply: anyOf([]string{"MReroa", "AReroa", "TReroa"}, func(k string) func(*report, *chance.Stream) []string {
		return forced(k, func(v float64, _ map[string]float64) float64 { return v * 2 })
	})},
	{name: "gradient-not-squared", cause: "wrong-form", text: "four times the velocity, not its square", apply: forced("TRpg", func(_ float64, val map[string]float64) float64 { return 4 * val["TRv"] })},
	{name: "rvsp-without-rap", cause: "wrong-form", text: "right atrial pressure not added", conds: []string{"tr-severe", "pulmonary-hypertension", "mitral-stenosis", "mr-secondary", "dilated-cardiomyopathy", "constriction"}, apply: forced("RVSP", func(v float64, val map[string]float64) float64 { return v - val["RAP"] })},
	{name: "ef-remaining-share", cause: "wrong-form", text: "systolic over diastolic volume given as ejection fraction", apply: forced("EF", func(v float64, _ map[string]float64) float64 { return 100 - v })},
	{name: "rwt-without-two", cause: "wrong-form", text: "relative wall thickness without the factor two", dials: []string{"brundo", "lomvist", "quessal"}, apply: forced("RWT", func(v float64, _ map[string]float64) float64 { return v / 2 })},
	{name: "mva-190", cause: "wrong-form", text: "mitral area with the tricuspid constant 190", conds: []string{"mitral-stenosis", "prosthesis-mitral"}, apply: forced("MVA", func(v float64, _ map[string]float64) float64 { return v * 190 / 220 })},
	{name: "mva-from-dt", cause: "wrong-input", text: "deceleration time used as pressure half-time", conds: []string{"mitral-stenosis", "prosthesis-mitral"}, apply: forced("MVA", func(v float64, _ map[string]float64) float64 { return v * .29 })},
	{name: "ee-sum-not-mean", cause: "wrong-form", text: "E over the sum of both e'", apply: forced("Eea", func(v float64, _ map[string]float64) float64 { return v / 2 })},
	{name: "ee-with-a", cause: "wrong-input", text: "A used in place of E for the septal ratio", apply: forced("Ees", func(v float64, val map[string]float64) float64 {
		if val["A"] == 0 {
			return v
		}
		return 100 * val["A"] / val["ePs"]
	})},
	{name: "mass-systolic-cavity", cause: "wrong-input", text: "mass computed with the systolic cavity", apply: forced("Mass", func(_ float64, val map[string]float64) float64 {
		return lvMass(val["IVSd"], val["LVIDs"], val["PWd"])
	})},
	{name: "mass-form-without-0.8", cause: "wrong-form", text: "mass formula without its factor 0.8", apply: forced("Mass", func(v float64, _ map[string]float64) float64 { return v / .8 })},
	{name: "sv-with-av-vti", cause: "wrong-input", text: "stroke volume computed with the aortic VTI", conds: []string{"as-severe-high-gradient", "as-low-flow-low-ef", "prosthesis-aortic"}, apply: forced("SV", func(v float64, val map[string]float64) float64 { return v * val["AVvti"] / val["LVOTvti"] })},
	{name: "ava-with-diameter", cause: "wrong-form", text: "valve area with the square left out", conds: []string{"as-severe-high-gradient", "as-low-flow-low-ef", "as-low-flow-preserved-ef", "prosthesis-aortic"}, apply: forced("AVA", func(v float64, val map[string]float64) float64 { return v / val["LVOTd"] })},
	{name: "rap-wrong-step", cause: "wrong-input", text: "right atrial pressure of the wrong step", apply: func(rp *report, r *chance.Stream) []string {
		to := 15.0
		if rp.val["RAP"] > 12 {
			to = 3
		}
		return forced("RAP", func(float64, map[string]float64) float64 { return to })(rp, r)
	}},
	{name: "vti-as-velocity", dials: typists, cause: "wrong-field", text: "a velocity time integral typed as velocity", apply: func(rp *report, r *chance.Stream) []string {
		a, b := rp.mainItem("LVOTv"), rp.mainItem("LVOTvti")
		if a == nil || b == nil || a.u.code != "m/s" {
			return nil
		}
		return rp.setText("LVOTv", b.text)
	}},
	{name: "gradient-as-velocity", dials: typists, cause: "wrong-field", text: "a peak gradient typed as velocity", apply: func(rp *report, r *chance.Stream) []string {
		a, b := rp.mainItem("TRv"), rp.mainItem("TRpg")
		if a == nil || b == nil || a.u.code != "m/s" {
			return nil
		}
		return rp.setText("TRv", b.text)
	}},
	{name: "vti-other-valve", cause: "wrong-input", text: "outflow VTI of the right side used for the left stroke volume", apply: forced("SV", func(v float64, val map[string]float64) float64 { return v * val["RVOTvti"] / val["LVOTvti"] })},
	{name: "old-sv", cause: "old-result", text: "stroke volume kept after the diameter was corrected", prep: older("LVOTd"), apply: oldResult("LVOTd", "SV", "AVAv", "AVA")},
	{name: "old-ef", cause: "old-result", text: "ejection fraction kept after the volume was traced anew", prep: older("ESV"), apply: oldResult("ESV", "EF", "ESVi")},
	{name: "old-rvsp", cause: "old-result", text: "RV pressure kept after the jet was measured anew", prep: older("TRv"), apply: oldResult("TRv", "TRpg", "RVSP")},
	{name: "old-mass", cause: "old-result", text: "mass kept after the wall was measured anew", prep: older("PWd"), apply: oldResult("PWd", "Mass", "RWT")},
	{name: "old-lav", cause: "old-result", dials: []string{"lomvist"}, text: "atrial volume kept after an area was traced anew", prep: older("LAA4"), apply: oldResult("LAA4", "LAV")},
	{name: "old-fac", cause: "old-result", dials: []string{"lomvist"}, text: "fractional area change kept after an area was traced anew", prep: older("RVESA"), apply: oldResult("RVESA", "FAC")},
	{name: "index-not-divided", cause: "indexing", text: "an index equal to the value itself", apply: anyOf([]string{"SVi", "LAVi", "MassI", "EDVi"}, func(k string) func(*report, *chance.Stream) []string {
		return forced(k, func(v float64, val map[string]float64) float64 { return v * val["BSA"] })
	})},
	{name: "index-by-height", cause: "indexing", text: "indexed to the height in place of the surface", apply: func(rp *report, r *chance.Stream) []string {
		h := rp.h.p.Height / 100
		return forced("LAVi", func(v float64, val map[string]float64) float64 { return v * val["BSA"] / h })(rp, r)
	}},
	{name: "index-old-surface", cause: "indexing", text: "one index computed before the weight was corrected", apply: anyOf([]string{"SVi", "MassI", "EDVi"}, func(k string) func(*report, *chance.Stream) []string {
		return forced(k, func(v float64, _ map[string]float64) float64 { return v * 1.13 })
	})},
	{name: "index-multiplied", cause: "indexing", text: "multiplied by the surface in place of divided", apply: forced("MassI", func(v float64, val map[string]float64) float64 { return v * val["BSA"] * val["BSA"] })},
	{name: "sign-collapse", cause: "sign", text: "caval collapse with the wrong sign", apply: forced("IVCc", func(v float64, _ map[string]float64) float64 { return -v })},
	{name: "sign-rimp", cause: "sign", text: "performance index with the wrong sign", apply: forced("RIMP", func(v float64, _ map[string]float64) float64 { return -v })},
	{name: "sign-ef", cause: "sign", text: "ejection fraction with a minus", apply: func(rp *report, r *chance.Stream) []string {
		it := rp.mainItem("EF")
		if it == nil {
			return nil
		}
		return rp.setText("EF", "-"+it.text)
	}},
	{name: "sign-jet", cause: "sign", text: "the minus of one jet lost where all others carry it", dials: []string{"olmery", "wexular", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		for _, it := range rp.items {
			if it.key == "TRv" && it.win == "RVIN" && it.text != "" && it.text[0] == '-' {
				it.text = it.text[1:]
				it.v = -it.v
				return []string{"TRv"}
			}
		}
		return nil
	}},
	{name: "rhythm-af-with-a-wave", cause: "wrong-rhythm", text: "atrial fibrillation coded beside a measured A wave", dials: []string{"olmery", "quessal", "vethra", "ispole", "kardun", "lomvist", "wexular", "pindrel", "ungert", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		if rp.rhythmAF || !hasItem(rp.items, "A") {
			return nil
		}
		rp.rhythmAF = true
		return []string{"rhythm"}
	}},
}

// plainKinds are pure misreadings: no cause can be named.
var plainKinds = func() []slipKind {
	var out []slipKind
	for _, k := range []string{"SV", "EF", "Mass", "LAV", "FAC", "RVSP", "AVA", "EDV", "Eea", "IVCc", "CO", "LVIDd", "EA", "RVSV", "LVOTvti", "E", "RIMP", "MRrvol"} {
		s := slipKind{name: "misread-" + k, text: "a plain wrong number", dials: typists, apply: plain(k)}
		if k == "MRrvol" {
			s.conds = []string{"mr-primary-severe", "mr-secondary"}
		}
		out = append(out, s)
	}
	cal := func(k, text string, lo1, hi1, lo2, hi2 float64, conds ...string) {
		out = append(out, slipKind{name: "caliper-" + k, text: text, conds: conds, apply: rawScale(k, func(r *chance.Stream) float64 {
			if r.Chance(.5) {
				return r.In(lo1, hi1)
			}
			return r.In(lo2, hi2)
		})})
	}
	cal("LVOTd", "caliper in the outflow tract put far off", .72, .80, 1.22, 1.3)
	cal("RVOTd", "caliper in the right outflow tract put far off", .72, .80, 1.24, 1.32)
	cal("MVann", "caliper at the mitral annulus put far off", .72, .80, 1.24, 1.32)
	cal("TAPSE", "excursion cursor put far off", .5, .56, 1.75, 1.9)
	cal("STJ", "caliper above the sinotubular junction", 1.28, 1.34, 1.28, 1.34)
	cal("ANN", "caliper oblique at the annulus", .76, .82, 1.22, 1.28)
	cal("AVvti", "trace of the aortic envelope left the signal", .62, .68, 1.38, 1.46)
	cal("MVAp", "planimetry not at the tips", 1.5, 1.6, 1.5, 1.6, "mitral-stenosis")
	cal("RVD1", "basal RV diameter cut short", .66, .72, .66, .72)
	return out
}()

func parseInt(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

func roundStr(f float64) string { return strconv.Itoa(int(math.Round(f))) }
