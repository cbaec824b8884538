package extract

import (
	"bytes"
	"encoding/binary"
	"hash/maphash"

	"echotally/internal/coding"
	"echotally/internal/echo"
)

// markDuplicates marks results that repeat an earlier one exactly: concept,
// effective modifiers, value and unit as written. Two items of one group are
// two beats, however equal, unless tracking UID or observation time says that
// they are one; two items of different groups or documents are one, unless
// these say otherwise. Superseded measurements take no part.
func markDuplicates(list []echo.Measurement) {
	seed := maphash.MakeSeed()
	var alike [1024]uint8 // how many values have a text of this hash; from two on not counted
	for i := range list {
		if m := &list[i]; mayRepeat(m) {
			if n := &alike[maphash.String(seed, m.ValueText)%uint64(len(alike))]; *n < 2 {
				*n++
			}
		}
	}
	last := map[uint64]int{} // 1 + place of the latest original whose identity has this hash
	var before []int         // likewise, of the one before it
	var id, other []byte
	for i := range list {
		m := &list[i]
		if !mayRepeat(m) || alike[maphash.String(seed, m.ValueText)%uint64(len(alike))] < 2 {
			continue
		}
		if before == nil {
			before = make([]int, len(list))
		}
		id = identity(id[:0], m)
		hash := maphash.Bytes(seed, id)
		var first *echo.Measurement
		for k := last[hash]; k > 0; k = before[k-1] {
			earlier := &list[k-1]
			if !sameObservation(earlier, m) {
				continue
			}
			if other = identity(other[:0], earlier); bytes.Equal(other, id) {
				first = earlier
			}
		}
		if first != nil {
			source := first.Source
			m.DuplicateOf = &source
			continue
		}
		before[i] = last[hash]
		last[hash] = i + 1
	}
}

// mayRepeat reports whether a measurement takes part.
func mayRepeat(m *echo.Measurement) bool {
	return m.Role == echo.Result && m.ValueText != "" && !m.Superseded
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
