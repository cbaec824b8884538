package echo

import (
	"echotally/internal/coding"
	"echotally/internal/ucum"
)

// Segment is what one content item says of how a part of the left ventricular
// wall moves (PS3.16 TID 5204): in words of CID 3703, by a number, or both. The
// number has no unit.
type Segment struct {
	Site    coding.CodedConcept  // CID 3717, or 3718 of a projection
	Finding *coding.CodedConcept // CID 3703; nil when only a number is given
	Score   *ucum.Quantity       // nil when no number is given
	Scheme  *coding.CodedConcept // CID 12238; nil when the report does not say on which scale
	Stage   *Modifier            // CID 12002; nil when the report does not say
	Source  Source
}
