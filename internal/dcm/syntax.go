package dcm

import (
	"encoding/binary"
	"strings"
)

// encoding is how the elements of a data set are laid out.
type encoding struct {
	implicit  bool
	bigEndian bool
}

var (
	implicitLittle = encoding{implicit: true}
	explicitLittle = encoding{}
	explicitBig    = encoding{bigEndian: true}
)

func (e encoding) String() string {
	switch e {
	case implicitLittle:
		return "implicit little endian"
	case explicitBig:
		return "explicit big endian"
	default:
		return "explicit little endian"
	}
}

func (e encoding) uint16(b []byte) uint16 {
	if e.bigEndian {
		return binary.BigEndian.Uint16(b)
	}
	return binary.LittleEndian.Uint16(b)
}

func (e encoding) uint32(b []byte) uint32 {
	if e.bigEndian {
		return binary.BigEndian.Uint32(b)
	}
	return binary.LittleEndian.Uint32(b)
}

func (e encoding) order() binary.ByteOrder {
	if e.bigEndian {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

// Transfer syntaxes of PS3.5 annex A that this package reads natively.
const (
	ImplicitVRLittleEndian         = "1.2.840.10008.1.2"
	ExplicitVRLittleEndian         = "1.2.840.10008.1.2.1"
	DeflatedExplicitVRLittleEndian = "1.2.840.10008.1.2.1.99"
	ExplicitVRBigEndian            = "1.2.840.10008.1.2.2"
)

// syntax is what a transfer syntax UID says about the data set.
type syntax struct {
	encoding
	deflated bool
	known    bool // a UID of the standard, or a private one listed here
}

// syntaxes holds the transfer syntaxes that are not plain explicit little
// endian. Every compressed syntax of the standard is (PS3.5 A.4).
var syntaxes = map[string]syntax{
	ImplicitVRLittleEndian:         {encoding: implicitLittle, known: true},
	"1.2.840.10008.1.20":           {encoding: implicitLittle, known: true}, // Papyrus 3, retired
	"1.2.840.113619.5.2":           {encoding: implicitLittle, known: true}, // private, big endian pixel data only
	ExplicitVRBigEndian:            {encoding: explicitBig, known: true},
	DeflatedExplicitVRLittleEndian: {deflated: true, known: true},
	"1.2.840.10008.1.2.4.95":       {deflated: true, known: true}, // JPIP Referenced Deflate
	"1.2.840.10008.1.2.4.205":      {deflated: true, known: true}, // JPIP HTJ2K Referenced Deflate
}

// lookupSyntax says how a transfer syntax lays out its elements. An unknown
// UID is taken for explicit little endian, which every later addition to the
// standard used; the caller has to find the data plausible and to say so.
func lookupSyntax(uid string) syntax {
	if s, ok := syntaxes[uid]; ok {
		return s
	}
	return syntax{known: uid == ExplicitVRLittleEndian || strings.HasPrefix(uid, "1.2.840.10008.1.2.")}
}

// sniff guesses the encoding from the first bytes of a data set. It answers
// false when nothing there looks like a DICOM element.
func sniff(b []byte) (encoding, bool) {
	if len(b) < 8 {
		return encoding{}, false
	}
	little := uint16(b[0]) | uint16(b[1])<<8
	big := uint16(b[1]) | uint16(b[0])<<8
	if vrOf(b[4], b[5]) != vrNone {
		// Data sets start in a low group, mostly 0008: the wrong byte order makes it high.
		if big < little {
			return explicitBig, true
		}
		return explicitLittle, true
	}
	t := Tag{Group: little, Element: uint16(b[2]) | uint16(b[3])<<8}
	length := uint32(b[4]) | uint32(b[5])<<8 | uint32(b[6])<<16 | uint32(b[7])<<24
	if v := dictionaryVR(t); v != vrUN && (length < 1<<20 || (v == vrSQ && length == undefinedLength)) {
		return implicitLittle, true
	}
	return encoding{}, false
}
