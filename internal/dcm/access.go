package dcm

// Has reports whether the element is present (even when empty).
func (d Dataset) Has(t Tag) bool { return false }

// Text returns the value of LT, ST, UT, UR unsplit, or the first value of other
// string elements, trimmed of padding; "" when absent.
func (d Dataset) Text(t Tag) string { return "" }

// Texts returns all values of a string element, trimmed.
func (d Dataset) Texts(t Tag) []string { return nil }

// Ints returns the values of an integer element (US, UL, SS, SL, SV, UV, and IS parsed).
func (d Dataset) Ints(t Tag) []int64 { return nil }

// Floats returns the values of FD, FL, OD, OF elements (not DS: use Texts).
func (d Dataset) Floats(t Tag) []float64 { return nil }

// Sequence returns the items of a sequence element, nil when absent.
func (d Dataset) Sequence(t Tag) []Dataset { return nil }

// VR returns the value representation as read, "" when absent.
func (d Dataset) VR(t Tag) string { return "" }
