package world

import (
	"fmt"
	"strconv"

	"echotally/internal/world/chance"
)

// tree builds the SR tree of one document of the report.
func (rp *report) tree(doc int) *node {
	d := rp.d
	title := dcm("125200", "Adult Echocardiography Procedure Report")
	if d.layout == "congenital" {
		title = dcm("125197", "Adult Congenital Cardiac Ultrasound Report")
	}
	root := container("", title)
	root.add(codeNode(mod, dcm("121049", "Language of Content Item and Descendants"), Code{rp.lang, "RFC5646", langName[rp.lang]}))
	rp.observer(root, doc)
	root.add(rp.characteristics(doc))
	second := doc == 1
	if d.docs == "split" && second {
		rp.copySection(root)
	} else {
		rp.measurements(root)
		rp.wallMotion(root)
	}
	if d.docs == "split" && !second || d.docs == "prelim" && !second {
		return root
	}
	rp.findingNodes(root)
	rp.textNodes(root)
	return root
}

var langName = map[string]string{"en": "English", "de": "German", "fr": "French"}

func (rp *report) observer(root *node, doc int) {
	d := rp.d
	ot := dcm("121005", "Observer Type")
	if d.docs == "split" && doc == 0 || d.layout == "simplified" || rp.noText {
		root.add(codeNode(obsCtx, ot, dcm("121007", "Device")))
		u := &node{rel: obsCtx, vt: "UIDREF", name: dcm("121012", "Device Observer UID"), text: "2.25.7700" + strconv.Itoa(1000+len(d.name)*37+int(d.name[0]))}
		root.add(u, textNode(obsCtx, dcm("121014", "Device Observer Manufacturer"), d.maker))
		return
	}
	root.add(codeNode(obsCtx, ot, dcm("121006", "Person")))
	r := chance.New(rp.seed, "observer")
	root.add(&node{rel: obsCtx, vt: "PNAME", name: dcm("121008", "Person Observer Name"), text: chance.Pick(r, famA) + chance.Pick(r, famB) + "^" + chance.Pick(r, givF)})
}

// characteristics is TID 5201 (5221): copies of the patient study data.
func (rp *report) characteristics(doc int) *node {
	d, b := rp.d, rp.body[doc]
	c := container(cont, dcm("121118", "Patient Characteristics"))
	id := func(s string) string { return "pat-" + s }
	c.add(numNode(cont, dcm("121033", "Subject Age"), b.age, "a", "year").as(id("age")))
	c.add(codeNode(cont, dcm("121032", "Subject Sex"), Code{b.sex, "DCM", map[string]string{"M": "Male", "F": "Female"}[b.sex]}).as(id("sex")))
	if d.name == "xanthe" || d.name == "kardun" { // the content repeats the birth date (TID 1007)
		c.add(&node{rel: cont, vt: "DATE", name: dcm("121031", "Subject Birth Date"), text: b.birth, id: id("birth")})
	}
	h, hu := b.height, "cm"
	if d.name == "xanthe" {
		if f, err := strconv.ParseFloat(h, 64); err == nil {
			h, hu = strconv.FormatFloat(f/100, 'f', 2, 64), "m"
		}
	}
	c.add(numNode(cont, lnc("8302-2", "Patient Height"), h, hu, hu).as(id("height")))
	c.add(numNode(cont, lnc("29463-7", "Patient Weight"), b.weight, "kg", "kg").as(id("weight")))
	bs := numNode(cont, cBSA, rp.bsaText, "m2", "m2").as(id("bsa"))
	f := dcm("122241", "BSA = 0.007184*WT^0.425*HT^0.725")
	if d.mosteller {
		f = dcm("122244", "BSA = (HT*WT/36)^0.5")
	}
	bs.add(codeNode(inferred, lnc("8278-4", "Body Surface Area Formula"), f))
	c.add(bs)
	if doc == 1 && d.docs == "split" {
		return c
	}
	c.add(numNode(cont, lnc("8867-4", "Heart Rate"), rp.patHR, d.units[kRate].code, d.units[kRate].meaning).as(id("hr")))
	c.add(numNode(cont, d.spell(sct("271649006", "Systolic Blood Pressure")), rp.sbp, "mm[Hg]", "mmHg").as(id("sbp")))
	c.add(numNode(cont, d.spell(sct("271650006", "Diastolic Blood Pressure")), rp.dbp, "mm[Hg]", "mmHg").as(id("dbp")))
	if d.name != "tarnvik" && d.name != "brundo" && !rp.noRhythm {
		rc := d.spell(sct("64730000", "normal sinus rhythm"))
		if rp.rhythmAF {
			rc = Code{"10:9472", "MDC", "Atrial fibrillation"}
		}
		c.add(codeNode(cont, cRhythm, rc).as(id("rhythm")))
	}
	return c
}

// measurements lays the items out by the dialect's layout.
func (rp *report) measurements(root *node) {
	switch rp.d.layout {
	case "simplified":
		rp.simplified(root)
	case "flat":
		to := root
		if rp.d.name == "brundo" {
			to = container(cont, cGroup)
			root.add(to)
		}
		for _, it := range rp.items {
			to.add(rp.numOf(it, nil))
		}
	default:
		for _, s := range sections {
			rp.section(root, s)
		}
	}
}

func (rp *report) simplified(root *node) {
	pre := container(cont, dcm("125301", "Pre-coordinated Measurements"))
	post := container(cont, dcm("125302", "Post-coordinated Measurements"))
	adhoc := container(cont, dcm("125303", "Adhoc Measurements"))
	for _, it := range rp.items {
		if _, base := rp.d.nameOf(it); base {
			post.add(rp.numOf(it, nil))
			continue
		}
		plain := *it
		plain.win = "" // TID 5301 permits no view below the name
		n := rp.numOf(&plain, nil)
		n.it = it
		pre.add(n)
	}
	if v, ok := rp.raw["AVet"]; ok {
		adhoc.add(numNode(cont, sct("385673002", "Interval"), fmtInt(v[0].v*.31), "ms", "ms").add(textNode(prop, cShort, "PEP caliper")))
	}
	root.add(pre, post)
	if len(adhoc.kids) > 0 {
		root.add(adhoc)
	}
}

// section is TID 5202 (or 5222): site on the container, groups by mode.
func (rp *report) section(root *node, sec string) {
	d := rp.d
	var groups []*node
	byMode := map[string]*node{}
	for _, it := range rp.items {
		if it.df.sec != sec || it.role == "copy" {
			continue
		}
		m := ""
		if d.modsOn == "group" {
			m = modeToken(it)
		}
		g := byMode[m]
		if g == nil {
			g = container(cont, cGroup)
			if m != "" {
				g.add(d.modNode(mod, cMode, modValues[m]))
			}
			byMode[m] = g
			groups = append(groups, g)
		}
		g.add(rp.numOf(it, map[string]bool{m: m != ""}))
	}
	if len(groups) == 0 {
		return
	}
	s := container(cont, d.findings)
	s.add(d.modNode(mod, cSite, modValues["site:"+sec]))
	root.add(s.add(groups...))
}

func modeToken(it *item) string {
	for _, m := range []string{"2D", "MM", "PW", "CW", "TDI", "CF", "3D", "STE"} {
		if containsTok(it.df.mods, "mode:"+m) && !it.drop["mode"] {
			return "mode:" + m
		}
	}
	return ""
}

// copySection holds the numbers retyped at the reading workstation.
func (rp *report) copySection(root *node) {
	s := container(cont, lnc("55112-7", "Summary"))
	for _, it := range rp.items {
		if it.role == "copy" {
			n := rp.numOf(it, nil)
			n.add(rp.d.modNode(mod, cSite, modValues["site:"+it.df.sec]))
			s.add(n)
		}
	}
	if len(s.kids) > 0 {
		root.add(s)
	}
}

// wallMotion follows TID 5204 as far as it is known: index, then segments.
func (rp *report) wallMotion(root *node) {
	if rp.noWall || rp.wall == nil {
		return
	}
	d := rp.d
	s := container(cont, d.findings)
	s.add(d.modNode(mod, dcm("121058", "Procedure reported"), sct("35757004", "Echocardiography for Determining Ventricular Contraction")))
	sum := 0
	for _, w := range rp.wall {
		sum += w
	}
	s.add(numNode(cont, dcm("125202", "LV Wall Motion Score Index"), fmt.Sprintf("%.2f", float64(sum)/17), "1", "no units").as("wmsi"))
	name := sct("60797005", "Cardiac Wall Motion") // from memory
	for i, w := range rp.wall {
		s.add(d.modNode(cont, name, wallMotion[w]).add(d.modNode(mod, cSite, lvSegments[i])).as("seg-" + strconv.Itoa(i)))
	}
	root.add(s)
}

// findingNodes: coded findings with grade, site and certainty.
func (rp *report) findingNodes(root *node) {
	d := rp.d
	if d.findStyle == "text" || len(rp.finds) == 0 {
		return
	}
	s := container(cont, d.findings)
	for _, f := range rp.finds {
		n := d.modNode(cont, cFinding, findingCodes[f.kind])
		n.add(d.modNode(mod, cSite, modValues[findingSites[f.kind]]))
		if f.grade >= 0 {
			if d.findStyle == "number" {
				n.add(numNode(prop, d.spell(cSeverity), strconv.Itoa(f.grade), "{score}", "grade of 3").as(f.id))
			} else {
				n.add(d.modNode(prop, cSeverity, severities[f.grade]).as(f.id))
			}
		}
		if d.latMods {
			n.add(codeNode(prop, cCertainty, sct("410605003", "Confirmed present"))) // from memory
		}
		s.add(n)
	}
	root.add(s)
}

func (rp *report) textNodes(root *node) {
	if rp.noText {
		return
	}
	head, one := lnc("19005-8", "Impressions"), dcm("121073", "Impression") // 121073 from memory
	if rp.d.findings.Scheme == "DCM" {
		head = dcm("121072", "Impressions")
	}
	if len(rp.lines) > 0 {
		c := container(cont, head)
		for _, l := range rp.lines {
			c.add(textNode(cont, one, l.text).as(l.id))
		}
		root.add(c)
	}
	for _, l := range rp.notes {
		root.add(textNode(cont, cComment, l.text).as("note-" + l.id))
	}
}
