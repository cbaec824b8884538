// Package form owns the form in which the ledger keeps what was read of objects, the
// studies composed of them and what was found of these: packed, in whatever version of
// the ledger, and squeezed where that pays.
package form

import (
	"crypto/sha256"
	"encoding/hex"
	"reflect"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/packed"
	"echotally/internal/packed/first"
)

// Study is how studies and readings are packed. A lab measures the same few
// hundred things with the same codes in study after study, so these are kept
// apart, once; what stands here by number is different in every measurement.
var Study = packed.Form{Apart: map[reflect.Type][]int{
	// Value, quantities, time, whence, and what became of it.
	reflect.TypeFor[echo.Measurement](): {5, 8, 9, 13, 15, 16, 17, 18, 23, 24, 25, 26, 27, 28},
}}

// Judgement is how a judgement is packed: the identifiers of the rules are in
// the rule set.
func Judgement(rules []finding.About) packed.Form {
	texts := make([]string, len(rules))
	for i := range rules {
		texts[i] = rules[i].Identifier
	}
	return packed.Form{Texts: packed.NewTexts(texts)}
}

// Squeezed is a whole judgement as it is kept, in the form of its rules.
func Squeezed(j *judgement.Judgement, by packed.Form) []byte {
	plain, _ := by.Pack(j, nil)
	return packed.Squeeze(plain)
}

// Unpack reads what was kept of a study or an object into v, in whatever form it
// was packed.
func Unpack(kept []byte, v any, parts *packed.Parts) error {
	plain, err := Loosened(kept)
	if err != nil {
		return err
	}
	if first.Is(plain) {
		return first.Unpack(plain, v)
	}
	return Study.Unpack(plain, v, parts)
}

// Wanted says which values of measurands are wanted, by their identifiers; "" is that of
// values which nothing names. It is for one goroutine.
func Wanted(is func(measurand string) bool) *packed.Wanted {
	return packed.NewWanted(func(part any) bool {
		m, measured := part.(*echo.Measurement)
		return !measured || is(m.Measurand)
	})
}

// UnpackOver is Unpack of a study in the place of another one, whose room is used
// again. Left out are the values that are not wanted. Nil wants all of them, and all
// are read of what version 1 packed.
func UnpackOver(kept []byte, out *echo.Study, parts *packed.Parts, wanted *packed.Wanted) error {
	plain, err := Loosened(kept)
	if err != nil {
		return err
	}
	if first.Is(plain) {
		*out = echo.Study{}
		return first.Unpack(plain, out)
	}
	return Study.UnpackOver(plain, out, parts, wanted)
}

// Loosened gives what was packed. Studies, which are read by the thousand, are
// kept as they are packed: making them smaller costs more than reading them.
func Loosened(kept []byte) ([]byte, error) {
	if packed.Is(kept) {
		return kept, nil
	}
	return packed.Loosen(kept)
}

// Repacked is what was kept, packed as it is now.
func Repacked(kept []byte, into any) ([]byte, error) {
	plain, err := Loosened(kept)
	if err != nil || !first.Is(plain) {
		return plain, err
	}
	if err := first.Unpack(plain, into); err != nil {
		return nil, err
	}
	plain, _ = Study.Pack(into, nil)
	return plain, nil
}

// IsFirst reports whether version 1 packed what was kept.
func IsFirst(kept []byte) bool {
	plain, err := Loosened(kept)
	return err == nil && first.Is(plain)
}

// Digest is the SHA-256 of what is packed, in hexadecimal digits.
func Digest(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// Content is the digest of what a report says, which does not depend on the
// catalogues nor on how the report was encoded.
func Content(report *echo.Study) string {
	one := *report
	one.Documents = slices.Clone(report.Documents)
	for i := range one.Documents {
		one.Documents[i].Deviations = nil
	}
	one.Statements = nil
	one.Measurements = slices.Clone(one.Measurements)
	for i := range one.Measurements {
		m := &one.Measurements[i]
		m.Measurand, m.Canonical, m.Problems = "", nil, nil
	}
	return Digest(packed.Pack(&one, nil))
}
