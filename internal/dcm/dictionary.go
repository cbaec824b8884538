package dcm

import (
	"slices"

	"github.com/suyashkumar/dicom/pkg/tag"
)

// undefinedLength is the length field of an element that ends at a delimiter.
const undefinedLength = 0xFFFFFFFF

// Tags that steer the reading.
var (
	tagItem              = Tag{Group: 0xFFFE, Element: 0xE000}
	tagItemDelimiter     = Tag{Group: 0xFFFE, Element: 0xE00D}
	tagSequenceDelimiter = Tag{Group: 0xFFFE, Element: 0xE0DD}

	tagMetaLength        = Tag{Group: 0x0002, Element: 0x0000}
	tagMediaClass        = Tag{Group: 0x0002, Element: 0x0002}
	tagTransferSyntax    = Tag{Group: 0x0002, Element: 0x0010}
	tagCharacterSet      = Tag{Group: 0x0008, Element: 0x0005}
	tagSOPClass          = Tag{Group: 0x0008, Element: 0x0016}
	tagSOPInstance       = Tag{Group: 0x0008, Element: 0x0018}
	tagStudyDate         = Tag{Group: 0x0008, Element: 0x0020}
	tagModality          = Tag{Group: 0x0008, Element: 0x0060}
	tagContentDate       = Tag{Group: 0x0008, Element: 0x0023}
	tagContentTime       = Tag{Group: 0x0008, Element: 0x0033}
	tagPatientID         = Tag{Group: 0x0010, Element: 0x0020}
	tagIssuerOfPatientID = Tag{Group: 0x0010, Element: 0x0021}
	tagBirthDate         = Tag{Group: 0x0010, Element: 0x0030}
	tagStudyInstance     = Tag{Group: 0x0020, Element: 0x000D}
	tagRows              = Tag{Group: 0x0028, Element: 0x0010}
	tagValueType         = Tag{Group: 0x0040, Element: 0xA040}
	tagContentSequence   = Tag{Group: 0x0040, Element: 0xA730}
	tagFloatPixelData    = Tag{Group: 0x7FE0, Element: 0x0008}
	tagDoublePixelData   = Tag{Group: 0x7FE0, Element: 0x0009}
	tagPixelData         = Tag{Group: 0x7FE0, Element: 0x0010}
	tagTrailingPadding   = Tag{Group: 0xFFFC, Element: 0xFFFC}
)

// isPixelData reports whether the element holds the image itself.
func isPixelData(t Tag) bool {
	return t == tagPixelData || t == tagFloatPixelData || t == tagDoublePixelData
}

// isPrivate reports whether the tag belongs to a vendor.
func isPrivate(t Tag) bool { return t.Group%2 == 1 }

// isPrivateCreator reports whether the element reserves a block for a vendor (PS3.5 7.8.1).
func isPrivateCreator(t Tag) bool { return isPrivate(t) && t.Element >= 0x0010 && t.Element <= 0x00FF }

// dictionaryVR returns the VR of PS3.6, for implicit data and for checks; "UN"
// when the dictionary does not know the tag. Where the standard leaves a
// choice, US stands for "US or SS" and OW for "OB or OW" (PS3.5 annex A.1).
func dictionaryVR(t Tag) vr {
	switch {
	case isPrivateCreator(t):
		return vrLO
	case isPrivate(t) || t.Group == 0xFFFE:
		return vrUN
	case t.Element == 0x0000:
		return vrUL
	case t == tagTrailingPadding:
		return vrOB
	case t.Group >= 0x5000 && t.Group <= 0x501E:
		t.Group = 0x5000 // repeating groups: curves
	case t.Group >= 0x6000 && t.Group <= 0x601E:
		t.Group = 0x6000 // and overlays
	}
	info, err := tag.Find(tag.Tag(t))
	if err != nil || len(info.VRs) == 0 {
		return vrUN
	}
	if slices.Contains(info.VRs, "OW") {
		return vrOW
	}
	if v := vrNamed(info.VRs[0]); v != vrNone {
		return v
	}
	return vrUN
}

// dictionary remembers what [dictionaryVR] said: the tags of a report are few and
// come again and again.
type dictionary struct {
	known [1 << dictionaryBits]struct {
		tag Tag
		vr  vr
	}
}

const dictionaryBits = 10

func (d *dictionary) vr(t Tag) vr {
	slot := &d.known[t.Uint32()*0x9E3779B1>>(32-dictionaryBits)]
	if slot.tag != t || slot.vr == vrNone {
		slot.tag, slot.vr = t, dictionaryVR(t)
	}
	return slot.vr
}
