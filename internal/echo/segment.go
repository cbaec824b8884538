package echo

import (
	"echotally/internal/coding"
	"echotally/internal/ucum"
)

// Segment is what one content item says of how a part of the left ventricular
// wall moves (PS3.16 TID 5204): in words of CID 3703, by a number, or both. The
// number has no unit.
type Segment struct {
	Site    coding.CodedConcept  `cbor:"1,keyasint,omitempty"` // CID 3717, or 3718 of a projection
	Finding *coding.CodedConcept `cbor:"2,keyasint,omitempty"` // CID 3703; nil when only a number is given
	Score   *ucum.Quantity       `cbor:"3,keyasint,omitempty"` // nil when no number is given
	Scheme  *coding.CodedConcept `cbor:"4,keyasint,omitempty"` // CID 12238; nil when the report does not say on which scale
	Stage   *Modifier            `cbor:"5,keyasint,omitempty"` // CID 12002; nil when the report does not say
	Source  Source               `cbor:"6,keyasint,omitempty"`
}
