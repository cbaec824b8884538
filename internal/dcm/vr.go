package dcm

import "echotally/internal/charset"

// vr is a value representation of PS3.5 table 6.2-1; the zero value is none.
type vr uint8

const (
	vrNone vr = iota
	vrAE
	vrAS
	vrAT
	vrCS
	vrDA
	vrDS
	vrDT
	vrFD
	vrFL
	vrIS
	vrLO
	vrLT
	vrOB
	vrOD
	vrOF
	vrOL
	vrOV
	vrOW
	vrPN
	vrSH
	vrSL
	vrSQ
	vrSS
	vrST
	vrSV
	vrTM
	vrUC
	vrUI
	vrUL
	vrUN
	vrUR
	vrUS
	vrUT
	vrUV
)

// representation is what reading has to know of a value representation.
type representation struct {
	name string
	long bool // its explicit length has 32 bits (PS3.5 table 7.1-1)
	size int  // of one number, or of one word that the byte order applies to; 0 for text and sequences
	text bool
	form charset.Form
}

var (
	plainText = charset.Form{}
	names     = charset.Form{Encodable: true, Name: true}
	encodable = charset.Form{Encodable: true}
	oneText   = charset.Form{Encodable: true, Unsplit: true}
	onePlain  = charset.Form{Unsplit: true}
	textOf    = func(name string, form charset.Form) representation {
		return representation{name: name, text: true, form: form}
	}
	numbersOf = func(name string, size int) representation { return representation{name: name, size: size} }
	longText  = func(name string, form charset.Form) representation {
		return representation{name: name, long: true, text: true, form: form}
	}
	longNumbers = func(name string, size int) representation { return representation{name: name, long: true, size: size} }
)

// representations is indexed by vr.
var representations = [...]representation{
	vrAE: textOf("AE", plainText), vrAS: textOf("AS", plainText), vrAT: numbersOf("AT", 2), vrCS: textOf("CS", plainText),
	vrDA: textOf("DA", plainText), vrDS: textOf("DS", plainText), vrDT: textOf("DT", plainText), vrFD: numbersOf("FD", 8),
	vrFL: numbersOf("FL", 4), vrIS: textOf("IS", plainText), vrLO: textOf("LO", encodable), vrLT: textOf("LT", oneText),
	vrOB: longNumbers("OB", 1), vrOD: longNumbers("OD", 8), vrOF: longNumbers("OF", 4), vrOL: longNumbers("OL", 4),
	vrOV: longNumbers("OV", 8), vrOW: longNumbers("OW", 2), vrPN: textOf("PN", names), vrSH: textOf("SH", encodable),
	vrSL: numbersOf("SL", 4), vrSQ: {name: "SQ", long: true}, vrSS: numbersOf("SS", 2), vrST: textOf("ST", oneText),
	vrSV: longNumbers("SV", 8), vrTM: textOf("TM", plainText), vrUC: longText("UC", encodable), vrUI: textOf("UI", plainText),
	vrUL: numbersOf("UL", 4), vrUN: longNumbers("UN", 1), vrUR: longText("UR", onePlain), vrUS: numbersOf("US", 2),
	vrUT: longText("UT", oneText), vrUV: longNumbers("UV", 8),
}

// byLetters gives the vr of two capital letters.
var byLetters = func() (out [26][26]vr) {
	for v, r := range representations {
		if r.name != "" {
			out[r.name[0]-'A'][r.name[1]-'A'] = vr(v)
		}
	}
	return out
}()

// vrOf reads a value representation, vrNone when it is none of the standard's.
func vrOf(first, second byte) vr {
	a, b := first-'A', second-'A'
	if a >= 26 || b >= 26 {
		return vrNone
	}
	return byLetters[a][b]
}

// vrNamed is vrOf for two letters as text.
func vrNamed(name string) vr {
	if len(name) != 2 {
		return vrNone
	}
	return vrOf(name[0], name[1])
}

func (v vr) String() string { return representations[v].name }
