package seeded

import (
	"maps"
	"math"
	"slices"

	"echotally/internal/phantom"
)

// book is a record as plain numbers, for trying others in their place.
type book struct {
	dialect phantom.Dialect
	profile phantom.Profile
	kinds   map[string]phantom.Kind
	numbers map[string]float64

	equations, checks []phantom.Equation
}

func bookOf(c *phantom.Record, d phantom.Dialect) book {
	b := book{d, c.Profile, map[string]phantom.Kind{}, map[string]float64{}, phantom.Equations(), phantom.CrossChecks()}
	for _, m := range c.All() {
		if c.Known(m) {
			b.kinds[m], b.numbers[m] = c.Kind(m), c.Number(m)
		}
	}
	return b
}

// with does the work with another number in the book, and with what scanners
// compute from it when they are said to have computed on.
func (b book) with(measurand string, x float64, chain []phantom.Equation, work func()) {
	before := []float64{b.numbers[measurand]}
	b.numbers[measurand] = x
	for _, e := range chain {
		before = append(before, b.numbers[e.Out])
		b.numbers[e.Out], _ = b.implied(e)
	}
	work()
	b.numbers[measurand] = before[0]
	for i, e := range chain {
		b.numbers[e.Out] = before[i+1]
	}
}

// chain lists, in order, what the scanner did compute from the measurand as
// recorded: a result that does not follow from it was not computed from it.
func (b book) chain(measurand string) []phantom.Equation {
	dirty := map[string]bool{measurand: true}
	var out []phantom.Equation
	for _, e := range phantom.Equations() {
		_, known := b.numbers[e.Out]
		if _, whole := b.implied(e); known && whole && !dirty[e.Out] && !b.contradicts(e) && slices.ContainsFunc(e.In, func(m string) bool { return dirty[m] }) {
			dirty[e.Out] = true
			out = append(out, e)
		}
	}
	return out
}

func (b book) implied(e phantom.Equation) (float64, bool) {
	x := make([]float64, len(e.In))
	for i, m := range e.In {
		v, ok := b.numbers[m]
		if !ok {
			return 0, false
		}
		x[i] = v
	}
	return e.F(x), true
}

// contradicts reports whether the numbers as written break an equation by more
// than rounding and allowance.
func (b book) contradicts(e phantom.Equation) bool {
	stated, known := b.numbers[e.Out]
	if !known || e.Unless != nil && e.Unless(b.profile) {
		return false
	}
	written, halves := make([]float64, len(e.In)), make([]float64, len(e.In))
	for i, m := range e.In {
		v, ok := b.numbers[m]
		if !ok {
			return false
		}
		written[i], halves[i] = b.dialect.As(b.kinds[m], v)
	}
	out, half := b.dialect.As(b.kinds[e.Out], stated)
	low, high := math.Inf(1), math.Inf(-1)
	x := make([]float64, len(e.In))
	for corner := range 1 << len(e.In) {
		for i := range x {
			x[i] = written[i] + halves[i]*float64(corner>>i&1*2-1)
		}
		y := e.F(x)
		low, high = min(low, y), max(high, y)
	}
	if e.Order {
		return out-half > high
	}
	if e.Factor > 1 {
		low, high = min(low/e.Factor, low*e.Factor), max(high*e.Factor, high/e.Factor)
	}
	half += e.Slack + 1e-9*max(math.Abs(low), math.Abs(high))
	return !(out+half >= low && out-half <= high)
}

// broken lists the equations that do not hold.
func (b book) broken() []phantom.Equation {
	return slices.DeleteFunc(append(slices.Clone(b.equations), b.checks...), func(e phantom.Equation) bool { return !b.contradicts(e) })
}

// identifiable reports whether no other single number, put right alone or with
// what was computed from it, within the range of patients, would make all
// equations hold. Then, and only then, can anybody tell which number is wrong.
func (b book) identifiable(spoiled, followed []string, ranges map[string]phantom.Span) bool {
	broken := b.broken()
	ties := slices.ContainsFunc(broken, func(e phantom.Equation) bool { return !e.Order }) // an order says nothing of how much
	if !ties || len(spoiled) > 1 {
		return false
	}
	others := map[string]bool{}
	var add func(m string)
	add = func(m string) {
		if _, known := b.numbers[m]; !known || others[m] {
			return
		}
		others[m] = true
		for _, e := range phantom.Equations() {
			if e.Out == m {
				for _, in := range e.In {
					add(in)
				}
			}
		}
	}
	for _, e := range broken {
		add(e.Out)
		for _, in := range e.In {
			add(in)
		}
	}
	for _, m := range slices.Sorted(maps.Keys(others)) {
		if slices.Contains(spoiled, m) || slices.Contains(followed, m) {
			continue
		}
		if b.explains(m, nil, broken, ranges[m]) || b.explains(m, b.chain(m), broken, ranges[m]) {
			return false
		}
	}
	return true
}

// explains looks for a value of the measurand with which everything holds.
func (b book) explains(measurand string, chain, broken []phantom.Equation, within phantom.Span) bool {
	holds := func(x float64) (ok bool) {
		b.with(measurand, x, chain, func() {
			ok = !slices.ContainsFunc(broken, b.contradicts) && len(b.broken()) == 0
		})
		return ok
	}
	const steps = 16
	at := func(i int) float64 { return within.Low * math.Pow(within.High/within.Low, float64(i)/steps) }
	if !(within.Low > 0) {
		return false
	}
	for _, e := range broken {
		miss := func(x float64) (y float64) {
			b.with(measurand, x, chain, func() {
				y, _ = b.implied(e)
				y -= b.numbers[e.Out]
			})
			return y
		}
		last := miss(at(0))
		for i := 1; i <= steps; i++ {
			next := miss(at(i))
			if last*next <= 0 && last != next && holds(root(miss, at(i-1), at(i))) || holds(at(i)) {
				return true
			}
			last = next
		}
	}
	return false
}

func root(f func(float64) float64, low, high float64) float64 {
	below := f(low) < 0
	for range 50 {
		if middle := (low + high) / 2; (f(middle) < 0) == below {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// larger says why a fault is larger than the tolerance, "" when it is not.
func larger(d phantom.Dialect, c *phantom.Record, spoiled []string, ranges map[string]phantom.Span) string {
	if broken := bookOf(c, d).broken(); len(broken) > 0 {
		return "contradicts " + broken[0].Out
	}
	for _, m := range spoiled {
		if phantom.Child(c.Profile) {
			break // no range of the adults is theirs
		}
		if v, s := c.Number(m), ranges[m]; v < s.Low || v > s.High {
			return "out of range: " + m
		}
	}
	return ""
}
