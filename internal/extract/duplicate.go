package extract

import (
	"encoding/binary"

	"echotally/internal/coding"
	"echotally/internal/echo"
)

// markDuplicates marks results that repeat an earlier one exactly: concept,
// effective modifiers, value and unit as written. Two items of one group are
// two beats, however equal, unless tracking UID or observation time says that
// they are one; two items of different groups or documents are one, unless
// these say otherwise. Superseded measurements take no part.
func markDuplicates(list []echo.Measurement) {
	last := make(map[string]int, len(list)) // 1 + place of the latest original of an identity
	before := make([]int, len(list))        // likewise, of the one before it
	var id []byte
	for i := range list {
		m := &list[i]
		if m.Role != echo.Result || m.ValueText == "" || m.Superseded {
			continue
		}
		id = identity(id[:0], m)
		var first *echo.Measurement
		for k := last[string(id)]; k > 0; k = before[k-1] {
			if earlier := &list[k-1]; sameObservation(earlier, m) {
				first = earlier
			}
		}
		if first != nil {
			source := first.Source
			m.DuplicateOf = &source
			continue
		}
		before[i] = last[string(id)]
		last[string(id)] = i + 1
	}
}

// identity writes down what exact duplicates have in common, so that equal ones
// compare equal, whatever level or spelling they came from.
func identity(id []byte, m *echo.Measurement) []byte {
	add := func(text string) {
		id = append(binary.AppendUvarint(id, uint64(len(text))), text...)
	}
	key := func(c *coding.CodedConcept) {
		k := c.Key()
		add(k.CodingSchemeDesignator)
		add(k.CodeValue)
	}
	key(&m.ConceptName)
	key(&m.Unit)
	add(m.ValueText)
	for _, f := range all(&m.Modifiers) {
		if f == nil {
			id = append(id, 0, 0)
			continue
		}
		id = append(id, 1)
		key(&f.Concept)
	}
	return id
}

func sameObservation(a, b *echo.Measurement) bool {
	if a.TrackingUID != "" && b.TrackingUID != "" {
		return a.TrackingUID == b.TrackingUID
	}
	if !a.ObservationDateTime.IsZero() && !b.ObservationDateTime.IsZero() {
		return a.ObservationDateTime.Equal(b.ObservationDateTime)
	}
	return a.Group != b.Group || a.Source.SOPInstanceUID != b.Source.SOPInstanceUID
}
