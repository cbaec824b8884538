package world

import (
	"fmt"

	"echotally/internal/world/chance"
)

// gapKind leaves something out of an otherwise complete study without a word.
type gapKind struct {
	name, text   string
	rule         string // section of completeness.md or relation that asks for it
	conds, dials []string
	apply        func(rp *report, r *chance.Stream) []string
}

// without drops keys and what is computed from them.
func without(keys ...string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		if !hasItem(rp.items, keys[0]) {
			return nil
		}
		rp.h.dropKeys = append(rp.h.dropKeys, keys...)
		for _, k := range keys {
			delete(rp.raw, k)
		}
		rp.again()
		return keys
	}
}

// bare drops a modifier kind from all items of the keys.
func bare(modKind string, keys ...string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		for _, it := range rp.items {
			for _, k := range keys {
				if it.key == k {
					if it.drop == nil {
						it.drop = map[string]bool{}
					}
					it.drop[modKind] = true
				}
			}
		}
		return keys
	}
}

// oneWindow keeps only the first window of a key.
func oneWindow(key, win string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		var keep []reading
		for _, x := range rp.raw[key] {
			if x.win != win {
				keep = append(keep, x)
			}
		}
		if len(keep) == len(rp.raw[key]) {
			return nil
		}
		rp.raw[key] = keep
		rp.again()
		return []string{key}
	}
}

// oneBeat keeps a single beat of the keys.
func oneBeat(keys ...string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		for _, k := range keys {
			var keep []reading
			for _, x := range rp.raw[k] {
				if x.beat == 1 {
					keep = append(keep, x)
				}
			}
			rp.raw[k] = keep
		}
		for i, n := range rp.notes { // the note on averaging would be untrue
			if n.id == "beats" {
				rp.notes = append(rp.notes[:i:i], rp.notes[i+1:]...)
				break
			}
		}
		rp.compute()
		return keys
	}
}

var coded = []string{"tarnvik", "olmery", "vethra", "kardun", "wexular", "pindrel", "xanthe"}
var plainSR = []string{"tarnvik", "olmery", "ispole", "kardun", "wexular", "pindrel", "xanthe"}
var asConds = []string{"as-severe-high-gradient", "as-low-flow-low-ef", "as-low-flow-preserved-ef"}

// gapKinds: "section 3" and "section 4" are those of completeness.md.
var gapKinds = []gapKind{
	{name: "no-tr-jet", text: "TR velocity and RV pressure not measured though regurgitation is graded", rule: "section 3, section 4 TR > mild", conds: []string{"tr-mild", "tr-severe", "pulmonary-hypertension"}, apply: without("TRv", "TRpg", "RVSP", "PASP", "MPAP", "COUP", "PVR", "TReroa", "TRrvol", "TRvti", "TRr", "TRva")},
	{name: "tr-one-window", text: "TR sought from one window only", rule: "section 3; section 5.4", conds: []string{"tr-mild", "tr-severe", "pulmonary-hypertension", "mitral-stenosis"}, apply: oneWindow("TRv", "RVIN")},
	{name: "as-one-window", text: "aortic stenosis with one CW window", rule: "section 4 AV Vmax; C57", conds: asConds, apply: oneWindow("AVv", "SSN")},
	{name: "as-no-mean-gradient", text: "aortic stenosis without mean gradient", rule: "section 4 AV Vmax", conds: asConds, apply: without("AVmg")},
	{name: "as-no-lvot-diameter", text: "aortic stenosis without outflow diameter", rule: "section 4 AV Vmax", conds: asConds, apply: without("LVOTd", "SV", "SVi", "CO", "CI", "AVA", "AVAv", "AVAi")},
	{name: "no-biplane-volumes", text: "LV volumes and ejection fraction not traced", rule: "section 3 LV", apply: without("EDV", "ESV", "EF", "EDVi", "ESVi", "EDV4", "ESV4", "EF4", "EDV2", "ESV2")},
	{name: "no-la-volume", text: "left atrial volume not measured", rule: "section 3 LA", apply: without("LAA4", "LAA2", "LAL", "LAV", "LAVi")},
	{name: "no-lateral-e", text: "only the septal e' measured", rule: "section 3 Diastole", apply: without("ePl", "Eel", "Eea")},
	{name: "no-cava", text: "vena cava not measured", rule: "section 3 IVC", apply: without("IVCe", "IVCi", "IVCc", "RAP", "RVSP", "PASP", "MPAP", "COUP")},
	{name: "no-rv-function", text: "no index of RV function", rule: "section 3 RV", apply: without("TAPSE", "RVS", "RVEDA", "RVESA", "FAC", "COUP", "TCO", "RVet", "RIMP")},
	{name: "no-rv-size", text: "RV diameters not measured", rule: "section 3 RV", apply: without("RVD1", "RVD2", "RVD3")},
	{name: "no-ra-size", text: "right atrium not measured", rule: "section 3 RA", apply: without("RAA", "RAVi")},
	{name: "no-aorta", text: "root and ascending aorta not measured", rule: "section 3 Aorta", apply: without("SOV", "STJ", "ASC")},
	{name: "no-septal-wall", text: "septum not measured", rule: "section 3 LV", apply: without("IVSd", "Mass", "MassI")},
	{name: "no-inflow", text: "mitral inflow not measured", rule: "section 3 Diastole", conds: []string{"normal-middle", "normal-old", "hypertension-lvh", "athlete"}, apply: without("E", "A", "EA", "DT", "Ees", "Eel", "Eea")},
	{name: "mr-not-quantified", text: "more than mild MR without vena contracta and PISA", rule: "section 4 MR > mild", conds: []string{"mr-primary-severe", "mr-secondary"}, apply: without("MRvc", "MRr", "MRva", "MReroa", "MRrvol", "MRrf", "MRvti")},
	{name: "ar-not-quantified", text: "more than mild AR without vena contracta, half-time and PISA", rule: "section 4 AR > trace", conds: []string{"ar-moderate", "ar-severe"}, apply: without("ARvc", "ARpht", "ARr", "ARva", "AReroa", "ARrvol", "ARrf", "ARvti")},
	{name: "ms-no-gradient", text: "mitral stenosis without mean gradient", rule: "section 4 MS", conds: []string{"mitral-stenosis"}, apply: without("MVmg")},
	{name: "tr-not-quantified", text: "severe TR without vena contracta and PISA", rule: "section 4 TR > mild", conds: []string{"tr-severe"}, apply: without("TRvc", "TRr", "TRva", "TReroa", "TRrvol", "TRvti")},
	{name: "effusion-no-size", text: "effusion named but not measured", rule: "section 4 pericardial effusion", conds: []string{"pericardial-effusion"}, dials: coded, apply: func(rp *report, r *chance.Stream) []string {
		out := without("EFF")(rp, r)
		for i, l := range rp.lines { // the denial would contradict the finding
			if l.id == "line-EFF" {
				rp.lines = append(rp.lines[:i:i], rp.lines[i+1:]...)
				break
			}
		}
		return append(out, "EFF")
	}},
	{name: "shunt-no-ratio", text: "atrial septal defect without right outflow and Qp/Qs", rule: "section 4 ASD", conds: []string{"asd"}, apply: without("RVOTd", "RVSV", "QpQs")},
	{name: "no-grade", text: "lesion named without grade", rule: "C93 needs one; section 4", conds: leakConds, dials: []string{"tarnvik", "olmery", "vethra", "kardun", "wexular", "pindrel", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		if len(rp.finds) == 0 || rp.finds[0].grade <= 0 {
			return nil
		}
		k := rp.finds[0].kind
		rp.finds[0].grade = -1
		for i := range rp.lines {
			if rp.lines[i].id == "line-"+k {
				rp.lines[i].text = capital(lesion[k].in(rp.lang)) + "."
			}
		}
		delete(rp.said, k)
		return []string{k}
	}},
	{name: "no-wall-motion", text: "wall motion not described", rule: "section 3 LV", apply: func(rp *report, r *chance.Stream) []string {
		if rp.h.c.wm > 0 {
			return nil
		}
		rp.noWall = true
		rp.reword()
		return []string{"wmsi", "wall"}
	}},
	{name: "no-rhythm", text: "rhythm not stated", rule: "section 1 Demographics", dials: []string{"olmery", "quessal", "vethra", "kardun", "lomvist", "wexular", "ungert", "pindrel"}, apply: func(rp *report, r *chance.Stream) []string {
		if rp.rhythmAF {
			return nil
		}
		rp.noRhythm = true
		for i, n := range rp.notes {
			if n.id == "rhythm" {
				rp.notes = append(rp.notes[:i:i], rp.notes[i+1:]...)
				break
			}
		}
		return []string{"rhythm"}
	}},
	{name: "af-one-beat", text: "atrial fibrillation measured from one beat", rule: "section 1 Beats, atrial fibrillation", conds: []string{"atrial-fibrillation"}, dials: []string{"tarnvik", "quessal", "brundo", "kardun", "pindrel", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		out := oneBeat("LVOTv", "LVOTvti", "AVv", "AVvti", "AVmg", "E", "ePs", "ePl", "TRv")(rp, r)
		for i := range rp.notes { // the averaging is not claimed
			if rp.notes[i].id == "rhythm" {
				rp.notes[i].text = phrase{"Atrial fibrillation.", "Vorhofflimmern.", "Fibrillation atriale."}.in(rp.lang)
			}
		}
		return out
	}},
	{name: "sinus-one-beat", text: "Doppler of the outflow from one beat", rule: "section 1 Beats, sinus rhythm", conds: asConds, dials: []string{"tarnvik", "brundo", "kardun", "pindrel", "quessal"}, apply: oneBeat("LVOTv", "LVOTvti", "AVv", "AVvti", "AVmg")},
	{name: "modifier-annulus-side", text: "e' without the side of the annulus", rule: "C90; TID 5203 Finding Site", dials: []string{"tarnvik", "olmery", "ispole", "kardun", "wexular", "pindrel", "xanthe", "lomvist"}, apply: bare("site", "ePs", "ePl")},
	{name: "modifier-direction", text: "regurgitant velocity without flow direction", rule: "C90; TID 5203 Flow Direction", dials: plainSR, apply: bare("dir", "TRv")},
	{name: "modifier-respiration", text: "caval diameters without respiratory phase", rule: "C90; TID 5203 Respiratory Cycle Point", dials: plainSR, apply: bare("resp", "IVCe", "IVCi")},
	{name: "modifier-method", text: "LV volumes and ejection fraction without method", rule: "C90; TID 5203 Measurement Method", dials: plainSR, apply: bare("meth", "EDV", "ESV", "EF")},
	{name: "modifier-cycle-point", text: "tricuspid annulus without phase of the cycle", rule: "C90; TID 5203 Cardiac Cycle Point", dials: plainSR, apply: bare("phase", "TVann", "TVanns")},
	{name: "modifier-view", text: "TR windows without view", rule: "section 5.4; TID 5203 Image View", dials: []string{"olmery", "ispole", "pindrel", "xanthe", "tarnvik"}, apply: bare("view", "TRv")},
}

// GapKinds lists the names of all kinds of gaps.
func GapKinds() []string {
	var out []string
	for _, k := range gapKinds {
		out = append(out, k.name)
	}
	return out
}

// Gaps makes n pairs of a complete study and the same with one gap.
func Gaps(seed uint64, n int) []Pair {
	var out []Pair
	for i := range n {
		out = append(out, gapPair(seed, i, &gapKinds[i%len(gapKinds)]))
	}
	return out
}

func gapPair(seed uint64, i int, k *gapKind) Pair {
	for try := 0; try < 1500; try++ {
		r := chance.New(seed, "gap", fmt.Sprint(i), fmt.Sprint(try), k.name)
		d, c, pf := setting(r, k.conds, k.dials)
		if d.noText && !c.wordless() {
			continue
		}
		pf.complete = true
		s := r.Uint64()
		clean, bad := newReport(s, d, c, pf), newReport(s, d, c, pf)
		if len(worst(clean.violations(), cleanMax)) > 0 {
			continue
		}
		keys := k.apply(bad, r)
		if len(keys) == 0 || len(worst(bad.violations(), cleanMax)) > 0 {
			continue
		}
		refs := diff(clean, bad, keys)
		if len(refs) == 0 {
			continue
		}
		p := Pair{clean.study("twin"), bad.study("gap")}
		p.Slipped.Complete = false
		p.Slipped.Truth = &Truth{Kind: k.name, Gap: true, Altered: refs, Text: k.text, DetectableWhy: k.rule}
		return p
	}
	panic("no place for gap " + k.name)
}
