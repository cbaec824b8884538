package world

import (
	"fmt"
	"hash/fnv"
	"strings"

	"echotally/internal/world/srt"
)

// spell writes a code the way the dialect does.
func (d *dialect) spell(c Code) Code {
	if c.Scheme != "SCT" || d.scheme == "SCT" {
		return c
	}
	id, ok := srt.Of(c.Value)
	if !ok {
		return c
	}
	scheme := d.scheme
	if d.mixed {
		h := fnv.New32a()
		h.Write([]byte(c.Value))
		switch h.Sum32() % 4 {
		case 0:
			return c
		case 1:
			scheme = "SRT"
		}
	}
	return Code{id, scheme, c.Meaning}
}

func (d *dialect) modNode(rel string, name, val Code) *node {
	return codeNode(rel, d.spell(name), d.spell(val))
}

// privCode names a key in the dialect's own scheme.
func (d *dialect) privCode(key string) Code {
	h := fnv.New32a()
	h.Write([]byte(d.name + key))
	return Code{fmt.Sprintf("%c%04d", d.priv[2], h.Sum32()%10000), d.priv, privLabel(d, key)}
}

func privLabel(d *dialect, key string) string {
	if d.name == "brundo" {
		if l, ok := frLabels[key]; ok {
			return l
		}
	}
	return shortLabel(key)
}

var frLabels = map[string]string{"RWT": "Épaisseur relative", "DVI": "Indice de perméabilité",
	"RVS": "S' tricuspide", "FAC": "Fraction de raccourcissement VD", "RVD1": "VD basal", "RVD2": "VD médian",
	"RVD3": "VD longueur", "PASP": "PAPS", "MPAP": "PAPm", "Eea": "E/e' moyen", "MassI": "Masse VG indexée",
	"LAVi": "Volume OG indexé", "RAVi": "Volume OD indexé", "AVAi": "Surface aortique indexée", "STJ": "Jonction sino-tubulaire"}

// modernPeak: editions from 2024 name a peak velocity 20355-4 (CID 12222).
var modernPeak = keySet("olmery", "wexular", "ungert", "quessal")

// nameOf gives the concept name of an item and whether base modifiers apply.
func (d *dialect) nameOf(it *item) (Code, bool) {
	df := it.df
	if d.privKeys[df.key] {
		return d.privCode(df.key), false
	}
	if p, ok := plainOf[df.key]; ok && d.layout == "congenital" {
		return parseCode(defOf[p].code), true
	}
	if (d.pre || d.layout == "simplified") && df.pre != "" && !(d.layout == "simplified" && it.win == "RVIN") {
		return parseCode(df.pre), false
	}
	if d.layout == "simplified" && !uniqueCode(df) {
		return d.longCode(df.key), true
	}
	if df.code == "" {
		return parseCode(strings.SplitN(df.prop, "/", 2)[0]), true
	}
	c := parseCode(df.code)
	if modernPeak[d.name] && c.Value == "11726-7" {
		c = lnc("20355-4", "Peak Blood Velocity")
	}
	return c, true
}

// plainOf: TID 5224 keeps the plain name for an indexed value.
var plainOf = map[string]string{"EDVi": "EDV", "ESVi": "ESV", "MassI": "Mass", "LAVi": "LAV",
	"AVAi": "AVA", "SVi": "SV", "CI": "CO"}

// longCode is a speaking private code of the simplified layout.
func (d *dialect) longCode(key string) Code {
	return Code{"M_" + strings.ToUpper(strings.NewReplacer("vti", "_VTI", "eroa", "_EROA").Replace(key)), d.priv, shortLabel(key)}
}

// uniqueCode: the base code alone names this key and no other.
func uniqueCode(df *def) bool {
	n := 0
	for i := range catalogue {
		if catalogue[i].code == df.code {
			n++
		}
	}
	return df.code != "" && n == 1
}

// shortLabel is the tight screen name of a key.
func shortLabel(key string) string {
	if l, ok := screenNames[key]; ok {
		return l
	}
	return key
}

// numOf renders one item with its modifiers. inherited lists tokens the group
// or section already carries.
func (rp *report) numOf(it *item, inherited map[string]bool) *node {
	d := rp.d
	name, base := d.nameOf(it)
	if d.local {
		name = localMeaning(rp.lang, it.key, name)
	}
	n := numNode(cont, d.spell(name), it.text, it.u.code, it.u.meaning).as(it.id)
	n.it, n.qual = it, it.qual
	toks := it.df.mods
	if p, ok := plainOf[it.key]; ok && d.layout == "congenital" {
		toks = defOf[p].mods
		n.add(codeNode(mod, cMType, dcm("125313", "Indexed")))
	}
	if !base {
		toks = ""
		if d.layout == "flat" && d.privKeys[it.key] {
			toks = "site:" + it.df.sec
		}
	} else if d.layout == "flat" && !strings.Contains(toks, "site:") {
		toks += " site:" + it.df.sec
	}
	if d.layout == "sections" && (it.key == "RVD3" || it.key == "RAVi") && base {
		toks += " site:" + it.df.sec
	}
	if it.win != "" {
		toks += " view:" + it.win
	}
	d.addMods(n, it, toks, inherited)
	if d.layout == "simplified" && base {
		rp.postMods(n, it)
	}
	rp.roleNodes(n, it)
	return n
}

func (d *dialect) addMods(n *node, it *item, toks string, inherited map[string]bool) {
	for _, t := range strings.Fields(toks) {
		kv := strings.SplitN(t, ":", 2)
		if it.drop[kv[0]] || inherited[t] {
			continue
		}
		if t == "dir:R" {
			t = d.dir
		}
		rel := mod
		if kv[0] == "mode" || kv[0] == "view" {
			rel = d.acq
		}
		m := d.modNode(rel, modNames[kv[0]], modValues[t]).as("mod|" + kv[0] + "|" + it.id)
		if kv[0] == "site" && d.latMods && it.df.sec == "PVEIN" {
			m.add(d.modNode(mod, cTopo, modValues["topo:RU"]))
		}
		n.add(m)
	}
	if d.latMods && it.df.sec == "PVEIN" && !strings.Contains(toks, "site:") {
		n.add(d.modNode(mod, cSite, modValues["site:PVEIN"]).add(d.modNode(mod, cTopo, modValues["topo:RU"]),
			d.modNode(mod, cLat, modValues["lat:R"])))
	}
}

// postMods spells a measurement out as TID 5302 asks.
func (rp *report) postMods(n *node, it *item) {
	pd := strings.SplitN(it.df.prop, "/", 2)
	typ := dcm("125316", "Directly measured")
	switch {
	case len(pd) == 2 && (it.df.kind == kRatio || it.df.kind == kCoup):
		typ = sct("118586006", "Ratio")
	case len(pd) == 2:
		typ = dcm("125313", "Indexed")
	case computedKind(it.df):
		typ = dcm("125315", "Calculated")
	}
	obs := dcm("125311", "Structure of the Finding Site")
	switch it.df.kind {
	case kVel, kPress, kVTI, kFlow, kIFlow, kWU, kTime:
		obs = sct("44324008", "Hemodynamic Measurements")
	case kTis, kPct:
		obs = dcm("125312", "Behavior of the Finding Site")
	}
	n.add(codeNode(mod, cMType, typ), codeNode(mod, cObsType, obs))
	if !strings.Contains(it.df.mods, "site:") && !it.drop["site"] {
		n.add(codeNode(mod, cSite, modValues["site:"+it.df.sec]).as("mod|site|" + it.id))
	}
	if it.key != "HR" && it.key != "RR" {
		n.add(codeNode(mod, cProp, parseCode(pd[0])))
	}
	if len(pd) == 2 && it.key != "QpQs" {
		n.add(codeNode(mod, cDivisor, parseCode(pd[1])))
	}
}

func computedKind(df *def) bool {
	for _, f := range formulas {
		if f.out == df.key {
			return true
		}
	}
	return false
}

// roleNodes adds derivation, selection, labels and equations.
func (rp *report) roleNodes(n *node, it *item) {
	d := rp.d
	switch it.role {
	case "mean":
		n.add(d.modNode(mod, cDeriv, cMean).as("mod|deriv|" + it.id))
	case "best":
		if d.name == "xanthe" { // CID 3627 by derivation
			n.add(d.modNode(mod, cDeriv, cBest))
			break
		}
		n.add(d.modNode(prop, cSelect, cUserSel))
	case "recent":
		n.add(d.modNode(prop, cSelect, cRecent))
	}
	if d.name == "lomvist" && d.privKeys[it.key] { // TID 300 row 16
		n.add(textNode(mod, cEquiv, standardOf(it.df).Meaning))
	}
	if d.labels {
		n.add(textNode(prop, cShort, shortLabel(it.key)))
	}
	if d.equation {
		rp.equationNodes(n, it)
	}
	if d.images && it.role == "beat" { // TID 320 row 1
		n.add(&node{rel: inferred, vt: "IMAGE", name: dcm("121112", "Source of Measurement"), text: uid(rp.seed, "image", it.key, it.win)})
	}
}

var equations = map[string]struct {
	text string
	in   []string
}{
	"SV":   {"0.785*D^2*VTI", []string{"LVOTd", "LVOTvti"}},
	"Mass": {"0.8*1.04*((IVS+LVID+PW)^3-LVID^3)+0.6", []string{"IVSd", "LVIDd", "PWd"}},
	"LAV":  {"0.85*A4*A2/L", []string{"LAA4", "LAA2", "LAL"}},
}

// equationNodes: formula and inputs below the result (TID 300 rows 9 and 12).
func (rp *report) equationNodes(n *node, it *item) {
	eq, ok := equations[it.key]
	if !ok || it.role != "value" || rp.d.layout == "simplified" {
		return
	}
	n.add(textNode(inferred, cEquation, eq.text))
	for _, k := range eq.in {
		v, ok := rp.val[k]
		if !ok {
			continue
		}
		in := rp.d.newItem(defOf[k], "", "input", 1, v)
		name, _ := rp.d.nameOf(in)
		n.add(numNode(inferred, rp.d.spell(name), in.text, in.u.code, in.u.meaning).as("in|" + it.id + "|" + k))
	}
}

// localMeaning writes the meaning in the language of the report; value and
// scheme stay (pitfall: meaning is not identity).
func localMeaning(lang, key string, c Code) Code {
	if lang != "de" {
		return c
	}
	if m, ok := deLabels[key]; ok {
		c.Meaning = m
	}
	return c
}

var deLabels = map[string]string{"LVIDd": "LV-Durchmesser enddiastolisch", "LVIDs": "LV-Durchmesser endsystolisch",
	"IVSd": "Septumdicke diastolisch", "PWd": "Hinterwanddicke diastolisch", "EF": "Ejektionsfraktion biplan",
	"EDV": "Enddiastolisches Volumen biplan", "ESV": "Endsystolisches Volumen biplan", "SV": "Schlagvolumen",
	"CO": "Herzzeitvolumen", "AVv": "Vmax Aortenklappe", "AVmg": "Mittlerer Gradient Aortenklappe", "AVA": "Öffnungsfläche",
	"TRv": "Vmax Trikuspidalinsuffizienz", "RVSP": "Systolischer RV-Druck", "LAV": "Vorhofvolumen links",
	"RAA": "Fläche rechter Vorhof", "TAPSE": "TAPSE", "E": "E-Welle", "A": "A-Welle", "IVCe": "Vena cava inferior"}
