package world

import (
	"fmt"
	"math"
	"strconv"

	"echotally/internal/world/chance"
)

// identity is who a report says the patient is, in header and content.
type identity struct {
	name, id, birth, sex string
	age                  string
	height, weight       string // as written: cm and kg in content
}

// line is one sentence of the conclusions.
type line struct{ id, text string }

// find is a coded finding with its grade.
type find struct {
	id, kind string
	grade    int
}

// report is one study before it becomes files.
type report struct {
	seed      uint64
	d         *dialect
	h         *heart
	lang      string
	bsa       float64
	raw       rawSet
	val       map[string]float64
	items     []*item
	finds     []find
	lines     []line
	notes     []line // comments and reasons for absence
	wall      []int
	desc      string
	complete  bool
	noText    bool
	head      []identity // per document
	body      []identity
	bsaText   string
	rhythmAF  bool
	noRhythm  bool
	sbp, dbp  string
	patHR     string
	date      string // content date
	noWall    bool
	said      map[string]int // grades the conclusions state, "EF" and "RV" too
	saidEF    float64
	pf        profile
	baseNotes []line
}

// study options drawn per report.
type profile struct {
	complete, limited bool
	restHR            float64 // resting rate of the demographics over the clip's
	oldKey            string  // an older reading of this key stays in the record
	oldF              float64
}

// newReport builds a clean study of a condition seen by a dialect.
func newReport(seed uint64, d *dialect, c *cond, pf profile) *report {
	r := chance.New(seed, "patient")
	full := c.filled()
	p := newPatient(r, &full)
	h := newHeart(chance.New(seed, "heart"), *c, p)
	rp := &report{seed: seed, d: d, h: h, complete: pf.complete, rhythmAF: p.AF, pf: pf}
	rp.lang = chance.Pick(chance.New(seed, "lang"), d.langs)
	rp.noText = d.noText
	rp.bsa = bsaDuBois(p.Height, p.Weight)
	if d.mosteller {
		rp.bsa = bsaMosteller(p.Height, p.Weight)
	}
	rp.bsaText = strconv.FormatFloat(rp.bsa, 'f', 2, 64)
	rp.raw = measure(h, d, seed)
	rp.desc = studyDesc.in(rp.lang)
	rp.sbp, rp.dbp, rp.patHR = fmtInt(p.SBP), fmtInt(p.DBP), fmtInt(p.HR)
	if pf.restHR > 0 {
		rp.patHR = fmtInt(p.HR * pf.restHR)
	}
	rp.date = p.Study.Format("20060102")
	rp.identities()
	rp.walls(c)
	rp.leaveOut(pf)
	rp.baseNotes = rp.notes
	rp.compute()
	rp.findings()
	rp.reword()
	return rp
}

// reword writes the conclusions anew.
func (rp *report) reword() {
	rp.lines, rp.notes = nil, append([]line{}, rp.baseNotes...)
	if !rp.noText {
		rp.conclude()
	}
}

// again repeats calculation and wording after a raw slip.
func (rp *report) again() {
	rp.compute()
	rp.reword()
}

// compute derives and lays out the items from the raw readings; called again
// after a raw slip.
func (rp *report) compute() {
	rp.val = derive(rp.h, rp.d, rp.raw, rp.workBSA())
	for _, k := range rp.dropped() {
		delete(rp.val, k)
	}
	rp.items = makeItems(rp.d, rp.raw, rp.val, rp.seed)
	rp.olderReading()
	rp.emptyItems()
	rp.copies()
}

// workBSA is the surface the scanner divides by: the shown one, or the full
// digits where it shows full digits elsewhere.
func (rp *report) workBSA() float64 {
	shown := parseF(rp.bsaText)
	if rp.d.prec == "machine" && math.Abs(shown-rp.bsa) < .006 {
		return rp.bsa
	}
	return shown
}

func (rp *report) dropped() []string { return rp.h.dropKeys }

func (rp *report) identities() {
	p := rp.h.p
	n := 1
	if rp.d.docs != "one" {
		n = 2
	}
	for range n {
		id := identity{name: p.Family + "^" + p.Given, id: p.ID, birth: p.Birth.Format("20060102"),
			sex: string(p.Sex), age: strconv.Itoa(p.Age), height: fmtInt(p.Height), weight: fmtInt(p.Weight)}
		rp.head = append(rp.head, id)
		rp.body = append(rp.body, id)
	}
}

// walls scores the seventeen segments (Lang 2015 scores 1-3).
func (rp *report) walls(c *cond) {
	rp.wall = make([]int, 17)
	for i := range rp.wall {
		rp.wall[i] = 1
		if c.wm == 1 {
			rp.wall[i] = 2
		}
		if c.wm == 2 && (i == 3 || i == 9 || i == 2) {
			rp.wall[i] = 3
		}
	}
}

// leaveOut removes what an ordinary lab does not do, with or without a word.
func (rp *report) leaveOut(pf profile) {
	if pf.complete {
		return
	}
	r := chance.New(rp.seed, "leave")
	drop := func(ks []string) {
		rp.h.dropKeys = append(rp.h.dropKeys, ks...)
		for _, k := range ks {
			delete(rp.raw, k)
		}
	}
	for range 2 + r.IntN(4) {
		drop(chance.Pick(r, silent))
	}
	if r.Chance(.4) {
		rp.noWall = true
	}
	if !rp.noText && r.Chance(.5) {
		rs := chance.Pick(r, reasons)
		if rs.keys[0] != "TRv" || rp.h.grade["TR"] == 0 {
			drop(rs.keys)
			rp.notes = append(rp.notes, line{"reason", rs.p.in(rp.lang)})
		}
	}
	if pf.limited {
		rp.desc = limitedDesc.in(rp.lang)
		for i := range catalogue {
			switch catalogue[i].sec {
			case "RV", "RA", "HV", "PVEIN", "AO", "PA", "PV":
				drop([]string{catalogue[i].key})
			}
		}
		rp.noWall = true
	}
}

// olderReading keeps a doubted reading beside the one that replaced it.
func (rp *report) olderReading() {
	k := rp.pf.oldKey
	rs := rp.raw[k]
	if k == "" || rp.d.mode != "recent" || len(rs) == 0 {
		return
	}
	v, _ := choose(rs, "mean")
	old := rp.d.newItem(defOf[k], "", "old", 2, v*rp.pf.oldF)
	for i, it := range rp.items {
		if it.key == k {
			rp.items = append(rp.items[:i:i], append([]*item{old}, rp.items[i:]...)...)
			for _, x := range rp.items {
				if x.key == k && (x.role == "mean" || x.role == "value") {
					x.role = "recent"
				}
			}
			return
		}
	}
}

var failed = dcm("114006", "Measurement failure")
var notTried = dcm("114007", "Measurement not attempted")

// emptyItems: some scanners send the line of a failed measurement without a
// value but with its qualifier (PS3.3 C.18.1, CID 42).
func (rp *report) emptyItems() {
	if !rp.d.emptyQual || rp.complete {
		return
	}
	for i, k := range rp.h.dropKeys {
		df := defOf[k]
		if df == nil || df.n == 1 && i%2 == 1 || !rp.d.codable(df) || hasItem(rp.items, k) || i > 7 {
			continue
		}
		it := rp.d.newItem(df, "", "empty", 0, 0)
		it.text = ""
		it.qual = &failed
		if i%3 == 0 {
			it.qual = &notTried
		}
		rp.items = append(rp.items, it)
	}
}

// copyKeys are numbers retyped into the second object of a split report.
var copyKeys = []string{"EF", "LVIDd", "AVA", "RVSP", "LAVi", "TAPSE"}

// copies adds the retyped numbers of the reading workstation.
func (rp *report) copies() {
	if rp.d.docs != "split" {
		return
	}
	for _, k := range copyKeys {
		v, ok := primary(rp.items, k)
		if !ok {
			continue
		}
		it := rp.d.newItem(defOf[k], "", "copy", 1, v)
		rp.items = append(rp.items, it)
	}
}

func (rp *report) findings() {
	for _, k := range []string{"AS", "AR", "MS", "MR", "TR", "PS", "PR"} {
		g := rp.h.grade[k]
		none := rp.noText && rp.complete && (k == "AS" || k == "AR" || k == "MR" || k == "TR")
		if g > 0 || none { // without words the absence is coded too
			rp.finds = append(rp.finds, find{"find-" + k, k, g})
		}
	}
	if rp.h.c.eff[1] > .9 {
		rp.finds = append(rp.finds, find{"find-EFF", "EFF", -1})
	}
	if rp.noText && rp.complete && rp.h.c.eff[1] == 0 {
		rp.finds = append(rp.finds, find{"find-EFF", "EFF", 0})
	}
	if rp.h.c.prosAV {
		rp.finds = append(rp.finds, find{"find-PAV", "PAV", -1})
	}
	if rp.h.c.prosMV {
		rp.finds = append(rp.finds, find{"find-PMV", "PMV", -1})
	}
	if rp.h.flow.asd > 0 {
		rp.finds = append(rp.finds, find{"find-ASD", "ASD", -1})
	}
	if rp.h.flow.vsd > 0 {
		rp.finds = append(rp.finds, find{"find-VSD", "VSD", -1})
	}
}

// conclude words the conclusions in the language of the report.
func (rp *report) conclude() {
	say := func(id, s string) { rp.lines = append(rp.lines, line{id, s}) }
	h, l := rp.h, rp.lang
	rp.said = map[string]int{}
	ef, ok := primary(rp.items, "EF")
	if !ok {
		ef, ok = primary(rp.items, "EFTei")
	}
	if ok {
		rp.said["EF"], rp.saidEF = efGrade(ef, h.p.Sex), math.Round(ef)
		say("line-EF", fmt.Sprintf("%s, EF %.0f %%.", efWords[efGrade(ef, h.p.Sex)].in(l), ef))
	}
	if !rp.noWall {
		say("line-wall", [3]phrase{phWall, phWallGlob, phWallInf}[h.c.wm].in(l))
	}
	for _, k := range []string{"AS", "AR", "MS", "MR", "TR", "PS", "PR"} {
		g := h.grade[k]
		if g > 0 || k == "MR" || k == "AS" || (k == "TR" && hasItem(rp.items, "TRv") && g > 0) {
			if (k == "AS" && h.c.prosAV) || (k == "MR" && h.c.prosMV) {
				continue
			}
			rp.said[k] = g
			say("line-"+k, valveLine(l, k, g))
		}
	}
	if hasItem(rp.items, "TAPSE") {
		i := 0
		if h.c.fac[1] > 0 && h.c.fac[1] < 35.5 {
			i = 1
		}
		if h.v["FAC"] < 35 || h.v["TAPSE"] < 1.7 {
			i = 1
		}
		say("line-RV", rvWords[i].in(l))
	}
	if p, ok := primary(rp.items, "RVSP"); ok && h.c.psV[1] == 0 {
		say("line-RVSP", fmt.Sprintf(phPress.in(l), fmtInt(p)))
	}
	if e, ok := primary(rp.items, "EFF"); ok && e > .25 {
		say("line-EFF", fmt.Sprintf(phEff.in(l), fmtInt(math.Round(e*10))))
	} else {
		say("line-EFF", phNoEff.in(l))
	}
	rp.special(say)
}

func (rp *report) special(say func(id, s string)) {
	h, l := rp.h, rp.lang
	ph := func(on bool, p phrase) {
		if on {
			say("line-x", p.in(l))
		}
	}
	ph(h.c.prosAV, phProsAV)
	ph(h.c.prosMV, phProsMV)
	ph(h.c.lvoto, phLVOTO)
	ph(h.c.respVar, phConstr)
	ph(h.flow.asd > 0, phASD)
	ph(h.flow.vsd > 0, phVSD)
	ph(h.c.pregnant, phPreg)
	ph(h.grade["AS"] == 3 && h.c.svi[1] < 35, phLowFlow)
	if rp.complete {
		rp.triggered()
		rp.notes = append(rp.notes, line{"quality", phQuality.in(l)})
		if rp.d.mode == "mean" && !h.p.AF {
			rp.notes = append(rp.notes, line{"beats", phBeats.in(l)})
		}
	}
	if h.p.AF {
		rp.notes = append(rp.notes, line{"rhythm", phAF.in(l)})
	} else {
		rp.notes = append(rp.notes, line{"rhythm", phSinus.in(l)})
	}
}
