// Package packed owns the form in which a value is kept: CBOR (RFC 8949) whose
// maps are keyed by the numbers of the fields, so that no name of the program is
// part of what is kept.
//
// A field's number stands in its tag, cbor:"5,keyasint,omitempty". It is given
// once: a field may be renamed or moved, and one that is gone leaves its number
// behind for good. [Fields] lists the numbers of a type, for a test that holds
// them against a list. Fields without a value are left out; a number that a
// reader does not know is passed over; texts that name a person are never packed.
//
// Packed are structs, pointers, slices, texts, booleans, integers and floats. A
// quantity is an array of its decimal, as [ucum.Decimal.Exact] writes it, and its
// unit; a time is a text (tag 0). A text that was there before is a reference to
// it (tags 25 and 256 of the registry of CBOR tags), and so is a struct of texts
// or a quantity (tags 28 and 29): a report says the same few things of every
// measurement. Packing the same value gives the same bytes.
package packed
