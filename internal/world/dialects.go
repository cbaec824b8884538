package world

import "echotally/internal/world/element"

// unit is how a dialect writes one kind: UCUM code and meaning, factor from
// the canonical unit, change of decimals.
type unit struct {
	code, meaning string
	factor        float64
	ddec          int
}

// dialect is one invented scanner or workstation with its habits. Every habit
// is allowed by the standard or tolerated by its extensible templates; doc.go
// names where.
type dialect struct {
	name, maker, model string
	layout             string // sections, simplified, flat, congenital
	sop                string
	findings           Code   // title of a section
	scheme             string // SCT, SRT, SNM3, 99SDM: how SNOMED is written
	mixed              bool   // every third code in the older spelling
	pre                bool   // CID 12300 names in place of base plus modifiers
	priv               string // private scheme; privKeys are coded in it
	privKeys           map[string]bool
	modsOn             string // item or group
	mode               string // mean, both, beats, best, windows, recent
	prec               string // std, machine, coarse
	units              map[kind]unit
	negReg             bool
	dir                string // dir:R (Regurgitant) or dir:RR (Retrograde)
	acq                string // relationship of mode and view
	mosteller, oldRAP  bool
	full, prodMean     bool
	hrClip             bool
	langs              []string
	charset            string
	ts                 string
	undef              bool
	docs               string // one, prelim, split
	noText             bool
	findStyle          string // coded, number, text
	mmode, three       bool
	single4            bool
	equation, labels   bool
	emptyQual          bool
	latMods            bool
	absGLS, fd, images bool // strain without minus; FD value beside the DS; source images
	local              bool // code meanings in the language of the report
}

const (
	sopEnhanced      = "1.2.840.10008.5.1.4.1.1.88.22"
	sopComprehensive = "1.2.840.10008.5.1.4.1.1.88.33"
	sopSimplified    = "1.2.840.10008.5.1.4.1.1.88.72"
)

// baseUnits are the canonical units in UCUM.
var baseUnits = map[kind]unit{
	kLen: {"cm", "cm", 1, 0}, kFine: {"cm", "cm", 1, 0}, kVel: {"m/s", "m/s", 1, 0},
	kTis: {"cm/s", "cm/s", 1, 0}, kPress: {"mm[Hg]", "mmHg", 1, 0}, kTime: {"ms", "ms", 1, 0},
	kVol: {"ml", "ml", 1, 0}, kArea: {"cm2", "cm2", 1, 0}, kOrif: {"cm2", "cm2", 1, 0},
	kMass: {"g", "g", 1, 0}, kRatio: {"1", "no units", 1, 0}, kPct: {"%", "%", 1, 0},
	kVTI: {"cm", "cm", 1, 0}, kRate: {"{H.B.}/min", "BPM", 1, 0}, kFlow: {"l/min", "l/min", 1, 0},
	kIVol: {"ml/m2", "ml/m2", 1, 0}, kIMass: {"g/m2", "g/m2", 1, 0}, kIArea: {"cm2/m2", "cm2/m2", 1, 0},
	kIFlow: {"l/min/m2", "l/min/m2", 1, 0}, kWU: {"[wood'U]", "WU", 1, 0}, kDPDT: {"mm[Hg]/s", "mmHg/s", 1, 0},
	kAlias: {"cm/s", "cm/s", 1, 0}, kCoup: {"mm/mm[Hg]", "mm/mmHg", 1, 0},
}

func units(over map[kind]unit) map[kind]unit {
	m := map[kind]unit{}
	for k, u := range baseUnits {
		m[k] = u
	}
	for k, u := range over {
		m[k] = u
	}
	return m
}

var (
	uMM    = unit{"mm", "mm", 10, -1}
	uCMS   = unit{"cm/s", "cm/s", 100, -2}
	uMS    = unit{"m/s", "m/s", .01, 2}
	uML    = unit{"mL", "mL", 1, 0}
	uMM2   = unit{"mm2", "mm2", 100, -2}
	uSec   = unit{"s", "s", .001, 3}
	uMin   = unit{"/min", "/min", 1, 0}
	uMinM1 = unit{"min-1", "1/min", 1, 0}
	uLPM   = unit{"L/min", "L/min", 1, 0}
	uMLM2  = unit{"mL/m2", "mL/m2", 1, 0}
	uRat   = unit{"{ratio}", "ratio", 1, 0}
)

func keySet(ks ...string) map[string]bool {
	m := map[string]bool{}
	for _, k := range ks {
		m[k] = true
	}
	return m
}

// dialects are the twelve invented sources.
var dialects = []*dialect{
	{name: "tarnvik", maker: "Tarnvik Ultralyd (invented)", model: "TV-40", layout: "sections", sop: sopComprehensive,
		findings: dcm("121070", "Findings"), scheme: "SRT", modsOn: "group", mode: "both", prec: "machine",
		units: units(nil), dir: "dir:R", acq: "HAS ACQ CONTEXT", mosteller: true, oldRAP: true,
		langs: []string{"en"}, charset: "ISO_IR 100", ts: element.Implicit, undef: true, docs: "one", findStyle: "coded"},
	{name: "olmery", maker: "Olmery Medizintechnik (invented)", model: "Sonoquant 7", layout: "sections", sop: sopEnhanced,
		findings: lnc("59776-5", "Findings"), scheme: "SCT", modsOn: "item", mode: "mean", prec: "std",
		units:  units(map[kind]unit{kVel: uCMS, kLen: uMM, kFine: uMM, kVol: uML, kIVol: uMLM2, kRate: uMin, kRatio: uRat}),
		negReg: true, dir: "dir:RR", acq: "HAS ACQ CONTEXT", langs: []string{"de"}, charset: "ISO_IR 192", ts: element.Explicit,
		docs: "one", findStyle: "coded", prodMean: true, local: true},
	{name: "quessal", maker: "Quessal Imaging (invented)", model: "Echolex", layout: "simplified", sop: sopSimplified,
		findings: lnc("59776-5", "Findings"), scheme: "SCT", pre: true, modsOn: "item", mode: "best", prec: "std",
		units: units(nil), dir: "dir:RR", acq: "HAS CONCEPT MOD", langs: []string{"en", "de"}, charset: "ISO_IR 192",
		ts: element.Explicit, docs: "one", findStyle: "text", labels: true, priv: "99QUESSAL"},
	{name: "brundo", maker: "Brundo Santé (invented)", model: "Cordelle", layout: "flat", sop: sopComprehensive,
		findings: dcm("121070", "Findings"), scheme: "SRT", modsOn: "item", mode: "both", prec: "coarse",
		units: units(map[kind]unit{kLen: uMM, kFine: uMM, kVel: uCMS, kOrif: uMM2, kVol: uML}), dir: "dir:R",
		acq: "HAS CONCEPT MOD", langs: []string{"fr"}, charset: "ISO_IR 100", ts: element.Explicit, undef: true, docs: "one",
		findStyle: "text", priv: "99BRUNDO", privKeys: keySet("RWT", "DVI", "TAPSE", "RVS", "RVD1", "RVD2", "RVD3", "FAC",
			"RAVi", "GLS", "PASP", "MPAP", "Eea", "MassI", "LAVi", "EDVi", "ESVi", "AVAi", "TRvc", "MRvc", "ARvc", "STJ", "COUP")},
	{name: "vethra", maker: "Vethra Reporting (invented)", model: "Reader 3", layout: "sections", sop: sopEnhanced,
		findings: lnc("59776-5", "Findings"), scheme: "SCT", pre: true, modsOn: "item", mode: "mean", prec: "std",
		units: units(map[kind]unit{kLen: uMM, kFine: uMM, kTis: uMS, kOrif: uMM2, kRate: uMinM1}), dir: "dir:RR",
		acq: "HAS ACQ CONTEXT", langs: []string{"en", "fr"}, charset: "ISO_IR 192", ts: element.Explicit, docs: "prelim",
		findStyle: "coded", latMods: true, absGLS: true},
	{name: "ispole", maker: "Ispole Systems (invented)", model: "IS-9 portable", layout: "sections", sop: sopComprehensive,
		findings: dcm("121070", "Findings"), scheme: "SNM3", mixed: true, modsOn: "item", mode: "windows", prec: "machine",
		units: units(map[kind]unit{kTime: uSec, kVel: uCMS}), dir: "dir:R", acq: "HAS ACQ CONTEXT", mosteller: true,
		langs: []string{"en"}, charset: "ISO_IR 100", ts: element.Deflated, docs: "one", noText: true, findStyle: "coded", hrClip: true},
	{name: "kardun", maker: "Karduin Cardiologie (invented)", model: "K2 + poste K-Lire", layout: "sections", sop: sopComprehensive,
		findings: dcm("121070", "Findings"), scheme: "SRT", mixed: true, modsOn: "group", mode: "both", prec: "std",
		units: units(map[kind]unit{kVol: uML, kTime: uSec}), dir: "dir:R", acq: "HAS ACQ CONTEXT", oldRAP: true,
		langs: []string{"fr", "en"}, charset: "ISO_IR 100", ts: element.Explicit, docs: "split", findStyle: "number"},
	{name: "lomvist", maker: "Lomvist Scanware (invented)", model: "LW-200", layout: "sections", sop: sopEnhanced,
		findings: dcm("121070", "Findings"), scheme: "99SDM", mixed: true, modsOn: "item", mode: "recent", prec: "std",
		units: units(map[kind]unit{kRatio: uRat, kRate: uMin}), dir: "dir:R", acq: "HAS ACQ CONTEXT", full: true, emptyQual: true,
		langs: []string{"en"}, charset: "ISO_IR 100", ts: element.Implicit, docs: "one", findStyle: "text", mosteller: true,
		priv: "99LOMVIST", privKeys: keySet("RWT", "DVI", "RVD1", "RVD3", "Eea", "RAVi", "PVR", "PASP", "TAPSE", "RVS", "FAC",
			"GLS", "MassI", "LAVi", "EDVi", "ESVi", "AVAi", "LAA2", "LAL", "MRvc", "TRvc", "ARvc", "LVOTpg", "Ees", "Eel")},
	{name: "wexular", maker: "Wexular Herzlabor (invented)", model: "Befunder", layout: "congenital", sop: sopComprehensive,
		findings: lnc("59776-5", "Findings"), scheme: "SCT", modsOn: "group", mode: "mean", prec: "std",
		units: units(map[kind]unit{kLen: uMM, kFine: uMM, kVol: uML, kRate: uMin}), dir: "dir:RR", acq: "HAS ACQ CONTEXT",
		langs: []string{"de", "en"}, charset: "ISO_IR 100", ts: element.Explicit, undef: true, docs: "one", findStyle: "coded", negReg: true, absGLS: true},
	{name: "pindrel", maker: "Pindrel Devices (invented)", model: "P-Mode", layout: "sections", sop: sopComprehensive,
		findings: dcm("121070", "Findings"), scheme: "SCT", modsOn: "item", mode: "beats", prec: "machine",
		units: units(map[kind]unit{kRatio: uRat}), dir: "dir:RR", acq: "HAS ACQ CONTEXT", langs: []string{"en", "de"},
		charset: "ISO_IR 192", ts: element.Explicit, docs: "one", findStyle: "coded", mmode: true, three: true, single4: true, equation: true, fd: true, images: true},
	{name: "ungert", maker: "Ungert Klinik-IT (invented)", model: "U-Archiv", layout: "flat", sop: sopEnhanced,
		findings: lnc("59776-5", "Findings"), scheme: "SCT", pre: true, modsOn: "item", mode: "mean", prec: "std",
		units: units(map[kind]unit{kOrif: uMM2, kRate: uMin, kVol: uML}), dir: "dir:RR", acq: "HAS CONCEPT MOD",
		langs: []string{"de"}, charset: "ISO_IR 100", ts: element.Implicit, docs: "prelim", findStyle: "text", single4: true, local: true},
	{name: "xanthe", maker: "Xanthefield (invented)", model: "XR Desk", layout: "sections", sop: sopEnhanced,
		findings: lnc("59776-5", "Findings"), scheme: "SRT", mixed: true, modsOn: "item", mode: "best", prec: "coarse",
		units: units(map[kind]unit{kVel: uCMS, kRatio: uRat, kFlow: uLPM}), dir: "dir:R", acq: "HAS CONCEPT MOD", mosteller: true,
		langs: []string{"en", "fr"}, charset: "ISO_IR 192", ts: element.Explicit, undef: true, docs: "split", findStyle: "number",
		negReg: true, mmode: true, latMods: true},
}

// Dialects lists the names of the invented sources.
func Dialects() []string {
	var out []string
	for _, d := range dialects {
		out = append(out, d.name)
	}
	return out
}
