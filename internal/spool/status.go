package spool

import "fmt"

// Further statuses that others answer with (PS3.4 annex B.2.3, PS3.7 annex C).
const (
	Coerced       Status = 0xB000 // stored, elements changed
	Discarded     Status = 0xB006 // stored, elements left out
	Unsuited      Status = 0xB007 // stored, though the data set is not of the SOP class
	NotAuthorized Status = 0x0124
	NotProcessed  Status = 0x0110
)

// Unconfirmed is no status of DICOM but our own: whoever was asked to store an object says
// nothing of it.
const Unconfirmed Status = 0xFFFF

// Stored reports whether the peer keeps the object, perhaps with a warning.
func (s Status) Stored() bool {
	return s == Success || s == Coerced || s == Discarded || s == Unsuited
}

// String says in words what a status means, with its number where it has one.
func (s Status) String() string {
	words := "refused"
	switch {
	case s == Success:
		return "stored"
	case s == Coerced:
		words = "stored, with elements changed by the peer"
	case s == Discarded:
		words = "stored, with elements left out by the peer"
	case s == Unsuited:
		words = "stored, but the peer says that the data set does not match its SOP class"
	case s == Unconfirmed:
		return "it is not confirmed that the object is stored"
	case s == NotProcessed:
		words = "the peer could not process the object"
	case s == ClassNotSupported:
		words = "the peer does not accept this SOP class"
	case s == NotAuthorized:
		words = "the peer does not allow this sender to store"
	case s>>8 == 0xA7:
		words = "the peer has no room for it"
	case s>>8 == 0xA9:
		words = "the peer says that the data set does not match its SOP class"
	case s>>12 == 0xC:
		words = "the peer cannot understand the object"
	}
	return fmt.Sprintf("%s (status %04X)", words, uint16(s))
}
