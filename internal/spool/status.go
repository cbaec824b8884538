package spool

import "fmt"

// Further statuses that others answer with (PS3.4 annex B.2.3, PS3.7 annex C).
const (
	Coerced       Status = 0xB000 // stored, elements changed
	Discarded     Status = 0xB006 // stored, elements left out
	Unsuited      Status = 0xB007 // stored, though the data set is not of the SOP class
	NotAuthorized Status = 0x0124
)

// Stored reports whether the peer keeps the object, perhaps with a warning.
func (s Status) Stored() bool {
	return s == Success || s == Coerced || s == Discarded || s == Unsuited
}

// String says in words what a status means, with its number.
func (s Status) String() string {
	words := "refused"
	switch {
	case s == Success:
		return "stored"
	case s == Coerced:
		words = "stored, elements changed by the peer"
	case s == Discarded:
		words = "stored, elements left out by the peer"
	case s == Unsuited:
		words = "stored, though the peer finds it not of its SOP class"
	case s == ClassNotSupported:
		words = "the peer does not take this SOP class"
	case s == NotAuthorized:
		words = "the peer does not let this caller store"
	case s>>8 == 0xA7:
		words = "the peer is out of resources"
	case s>>8 == 0xA9:
		words = "the peer finds the data set not of its SOP class"
	case s>>12 == 0xC:
		words = "the peer cannot understand the object"
	}
	return fmt.Sprintf("%s (status %04X)", words, uint16(s))
}
