package audit

import (
	"slices"

	"echotally/internal/echo"
)

// Pair is one quantity of the study as two reports give it.
type Pair struct {
	*Quantity
	Compared      Compared
	First, Second float64 // of the earlier and of the later report, the mean of its beats
	Identical     bool    // the same values: read again or copied, which cannot be told
}

// Compared says what two readings have in common.
type Compared string

// What is compared, in the order it is shown.
const (
	TwoObservers  Compared = "two observers"
	OneObserver   Compared = "one observer"
	WhoeverWrote  Compared = "two reports"
	RepeatedBeats Compared = "two beats"
)

// pairs compares, quantity by quantity, the first two reports of the study
// that give it. Reports replaced by a later one take part: how far the later one
// moved the values is what is asked. Values worked out or chosen from others are
// left out.
func (r *Reducer) pairs(s *echo.Study) []Pair {
	if len(s.Documents) < 2 {
		return nil
	}
	by := map[repeatKey][]float64{}
	order := []repeatKey{} // by document and place, since the study is in this order
	for i := range s.Measurements {
		m := &s.Measurements[i]
		named := r.set.Measurands.Find(m.Measurand)
		if m.Role != echo.Result || named == nil || m.Canonical == nil || m.Modifiers.Derivation != nil || m.Modifiers.SelectionStatus != nil || copiedWithin(m) {
			continue
		}
		if m.Modifiers.ImageView == nil && r.planes[named.Identifier] {
			continue // four-chamber against two-chamber would be no pair
		}
		key := repeatOf(m)
		if by[key] == nil {
			order = append(order, key)
		}
		by[key] = append(by[key], m.Canonical.Value.Float())
	}
	reports := map[string]*echo.Document{}
	for i := range s.Documents {
		reports[s.Documents[i].SOPInstanceUID] = &s.Documents[i]
	}
	first, done := map[repeatKey]repeatKey{}, map[repeatKey]bool{}
	var out []Pair
	for _, key := range order {
		whole := key
		whole.report = ""
		earlier, seen := first[whole]
		if !seen {
			first[whole] = key
			continue
		}
		if done[whole] {
			continue
		}
		done[whole] = true
		a, b := mean(by[earlier]), mean(by[key])
		out = append(out, Pair{
			Quantity: r.quantity(key.measurand), Compared: observersOf(reports[earlier.report], reports[key.report]),
			First: a, Second: b, Identical: a == b,
		})
	}
	return out
}

// copiedWithin reports whether the measurement repeats another of its report.
func copiedWithin(m *echo.Measurement) bool {
	return m.DuplicateOf != nil && m.DuplicateOf.SOPInstanceUID == m.Source.SOPInstanceUID
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// observersOf tells whether two reports are by the same people. Each naming
// somebody whom the other does not name makes two; one naming more than the
// other, or nobody, does not tell.
func observersOf(a, b *echo.Document) Compared {
	one, other := observers(a), observers(b)
	lacks := func(all, of []string) bool {
		return slices.ContainsFunc(of, func(name string) bool { return !slices.Contains(all, name) })
	}
	switch {
	case len(one) == 0 || len(other) == 0:
		return WhoeverWrote
	case lacks(one, other) && lacks(other, one):
		return TwoObservers
	case !lacks(one, other) && !lacks(other, one):
		return OneObserver
	}
	return WhoeverWrote
}

// observers are those who may have measured, by the ledger's pseudonym; who only
// verified did not.
func observers(d *echo.Document) []string {
	var out []string
	if d == nil {
		return nil
	}
	for _, p := range d.Staff {
		if p.Task != echo.Verified && p.Pseudonym != "" {
			out = append(out, p.Pseudonym)
		}
	}
	return out
}
