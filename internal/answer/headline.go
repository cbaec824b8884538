package answer

import (
	"math"
	"strconv"
	"strings"

	"echotally/internal/expr/message"
	"echotally/internal/measurand"
	"echotally/internal/ucum"
)

// headline writes the numbers of one message as people say them: in the unit and
// to the digit that the measurand's file gives, a limit or a computed number in
// the unit of the value it is held against.
type headline struct {
	*Answers
	shown  map[likeness]*measurand.Shown // of the values in the message; nil where they are not said alike
	finer  int                           // digits beyond the usual, so that what differs looks different
	spoken []spoken
}

// likeness is what numbers said in one unit have in common. Time is said by the
// unit: the interval of a valve and the length of a loop are not said in one; so
// are shares.
type likeness struct {
	dimension ucum.Dimension
	unit      string // only of times and shares
}

func likenessOf(u ucum.Unit) likeness {
	switch d := u.Dimension(); d {
	case ucum.Dimension{}, ucum.Dimension{Time: 1}:
		return likeness{d, u.Code()}
	default:
		return likeness{dimension: d}
	}
}

// spoken is a number as it was written in the message.
type spoken struct {
	text string
	unit string
	x    float64 // what it is, in that unit
}

// finest is how many digits more are tried before two numbers may look the same.
const finest = 3

// Write writes a message with the answers in it.
func (a *Answers) Write(t *message.Template) string {
	h := &headline{Answers: a, shown: a.shownIn(t)}
	for {
		text := t.Write(h, a.Value)
		if h.finer == finest || !h.blurred() {
			return text
		}
		h.finer, h.spoken = h.finer+1, nil
	}
}

// shownIn tells in what unit the values of a message are said.
func (a *Answers) shownIn(t *message.Template) map[likeness]*measurand.Shown {
	out := map[likeness]*measurand.Shown{}
	for _, p := range t.Programs() {
		for _, in := range p.Inputs {
			b := a.Binding(in.Name)
			if b == nil {
				continue
			}
			said, alike := shownOf(b), likenessOf(b.Alias.Unit)
			if known, ok := out[alike]; !ok {
				out[alike] = said
			} else if known != nil && (said == nil || said.Unit.Code() != known.Unit.Code()) {
				out[alike] = nil
			}
		}
	}
	return out
}

// shownOf is how the value that counts is said; nil when the file does not tell.
func shownOf(b *Binding) *measurand.Shown {
	for _, m := range b.Alias.Measurands {
		if c := b.Chosen.Measurement; c != nil && c.Measurand == m.Identifier {
			return m.Shown
		}
	}
	return b.Alias.Measurands[0].Shown
}

// Title is the short name of what an alias stands for.
func (h *headline) Title(name string) string {
	b := h.Binding(name)
	if m := b.Chosen.Measurement; m != nil {
		for _, one := range b.Alias.Measurands {
			if one.Identifier == m.Measurand {
				return one.Short
			}
		}
	}
	return b.Alias.Measurands[0].Short
}

// Named is a name's value, or a parameter's.
func (h *headline) Named(name string) string {
	if b := h.Binding(name); b != nil {
		return h.measured(b)
	}
	p, ok := h.Rule.Parameters[name]
	if !ok {
		return h.named(name)
	}
	_, d := h.Parameter(p)
	said := h.shown[likenessOf(p.Unit)]
	if d.IsZero() || said == nil || said.Unit.Code() == p.Unit.Code() {
		if !d.IsZero() {
			h.say(d.Text(), p.Unit, d.Float())
		}
		return h.named(name)
	}
	x := d.Float() * Factor(p.Unit, said.Unit)
	text := strconv.FormatFloat(x, 'f', h.decimals(x, said.Decimals), 64)
	if y, err := strconv.ParseFloat(text, 64); err != nil || math.Abs(x-y) > 1e-9*math.Abs(x) {
		text = significant(x, max(significantDigits(d.Text()), 1)) // a limit is never rounded
	}
	return h.say(text, said.Unit, x)
}

// measured is a value as people say it, with no digit that the record has not.
func (h *headline) measured(b *Binding) string {
	said, x := shownOf(b), b.Chosen.X
	if said == nil || math.IsNaN(x) {
		return b.Chosen.Text(b.Alias.Unit)
	}
	factor := Factor(b.Alias.Unit, said.Unit)
	decimals := h.decimals(x*factor, said.Decimals)
	if step := 2 * b.Chosen.HalfStep * factor; step > 0 && b.Chosen.Measurement != nil {
		decimals = min(decimals, max(int(math.Ceil(-math.Log10(step)-1e-9)), 0))
	}
	return h.say(h.trimmed(x*factor, decimals, said.Decimals), said.Unit, x*factor)
}

// Number is a computed number, in the unit of the value it is held against.
func (h *headline) Number(x float64, unit ucum.Unit) string {
	said := h.shown[likenessOf(unit)]
	if said == nil || math.IsNaN(x) {
		return legible(x, unit)
	}
	x *= Factor(unit, said.Unit)
	return h.say(h.trimmed(x, h.decimals(x, said.Decimals), 0), said.Unit, x)
}

// decimals is how many are written of a number: as many as usual, but two digits
// at least of a small one.
func (h *headline) decimals(x float64, usual int) int {
	if x != 0 {
		usual = max(usual, 1-int(math.Floor(math.Log10(math.Abs(x)))))
	}
	return max(min(usual+h.finer, 6), 0)
}

// trimmed writes a number without a nought beyond the usual digits: 8 mmHg, not 8.0.
func (h *headline) trimmed(x float64, decimals, usual int) string {
	text := strconv.FormatFloat(x, 'f', decimals, 64)
	for n := decimals; n > usual && strings.HasSuffix(text, "0"); n-- {
		text = strings.TrimSuffix(strings.TrimSuffix(text, "0"), ".")
	}
	return text
}

// say notes what is written.
func (h *headline) say(number string, unit ucum.Unit, x float64) string {
	h.spoken = append(h.spoken, spoken{number, unit.Code(), x})
	return join(number, unit)
}

// blurred reports whether two numbers that differ look the same.
func (h *headline) blurred() bool {
	for i, one := range h.spoken {
		for _, other := range h.spoken[:i] {
			if one.unit == other.unit && one.x != other.x && math.Abs(one.x-other.x) > 1e-9*math.Abs(one.x) && same(one.text, other.text) {
				return true
			}
		}
	}
	return false
}

// same compares two written numbers: 17 and 17.0 look the same.
func same(a, b string) bool {
	x, err := strconv.ParseFloat(a, 64)
	y, fault := strconv.ParseFloat(b, 64)
	return err == nil && fault == nil && x == y
}
