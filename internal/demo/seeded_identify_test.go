package demo

import (
	"maps"
	"math"
	"slices"
)

// book is a record as plain numbers, for trying others in their place.
type book struct {
	dialect dialect
	profile profile
	kinds   map[string]kind
	numbers map[string]float64

	equations, checks []equation
}

func (c *record) book(d dialect) book {
	b := book{d, c.profile, map[string]kind{}, map[string]float64{}, equations(), crossChecks()}
	for _, m := range c.all() {
		if c.known(m) {
			b.kinds[m], b.numbers[m] = c.kind(m), c.number(m)
		}
	}
	return b
}

// with does the work with another number in the book, and with what scanners
// compute from it when they are said to have computed on.
func (b book) with(measurand string, x float64, chain []equation, work func()) {
	before := []float64{b.numbers[measurand]}
	b.numbers[measurand] = x
	for _, e := range chain {
		before = append(before, b.numbers[e.out])
		b.numbers[e.out], _ = b.implied(e)
	}
	work()
	b.numbers[measurand] = before[0]
	for i, e := range chain {
		b.numbers[e.out] = before[i+1]
	}
}

// chain lists, in order, what the scanner did compute from the measurand as
// recorded: a result that does not follow from it was not computed from it.
func (b book) chain(measurand string) []equation {
	dirty := map[string]bool{measurand: true}
	var out []equation
	for _, e := range equations() {
		_, known := b.numbers[e.out]
		if _, whole := b.implied(e); known && whole && !dirty[e.out] && !b.contradicts(e) && slices.ContainsFunc(e.in, func(m string) bool { return dirty[m] }) {
			dirty[e.out] = true
			out = append(out, e)
		}
	}
	return out
}

func (b book) implied(e equation) (float64, bool) {
	x := make([]float64, len(e.in))
	for i, m := range e.in {
		v, ok := b.numbers[m]
		if !ok {
			return 0, false
		}
		x[i] = v
	}
	return e.f(x), true
}

// contradicts reports whether the numbers as written break an equation by more
// than rounding and allowance.
func (b book) contradicts(e equation) bool {
	stated, known := b.numbers[e.out]
	if !known || e.unless != nil && e.unless(b.profile) {
		return false
	}
	written, halves := make([]float64, len(e.in)), make([]float64, len(e.in))
	for i, m := range e.in {
		v, ok := b.numbers[m]
		if !ok {
			return false
		}
		written[i], halves[i] = b.dialect.as(b.kinds[m], v)
	}
	out, half := b.dialect.as(b.kinds[e.out], stated)
	low, high := math.Inf(1), math.Inf(-1)
	x := make([]float64, len(e.in))
	for corner := range 1 << len(e.in) {
		for i := range x {
			x[i] = written[i] + halves[i]*float64(corner>>i&1*2-1)
		}
		y := e.f(x)
		low, high = min(low, y), max(high, y)
	}
	if e.order {
		return out-half > high
	}
	if e.factor > 1 {
		low, high = min(low/e.factor, low*e.factor), max(high*e.factor, high/e.factor)
	}
	half += e.slack + 1e-9*max(math.Abs(low), math.Abs(high))
	return !(out+half >= low && out-half <= high)
}

// broken lists the equations that do not hold.
func (b book) broken() []equation {
	return slices.DeleteFunc(append(slices.Clone(b.equations), b.checks...), func(e equation) bool { return !b.contradicts(e) })
}

// identifiable reports whether no other single number, put right alone or with
// what was computed from it, within the range of patients, would make all
// equations hold. Then, and only then, can anybody tell which number is wrong.
func (b book) identifiable(spoiled, followed []string, ranges map[string]span) bool {
	broken := b.broken()
	ties := slices.ContainsFunc(broken, func(e equation) bool { return !e.order }) // an order says nothing of how much
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
		for _, e := range equations() {
			if e.out == m {
				for _, in := range e.in {
					add(in)
				}
			}
		}
	}
	for _, e := range broken {
		add(e.out)
		for _, in := range e.in {
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
func (b book) explains(measurand string, chain, broken []equation, within span) bool {
	holds := func(x float64) (ok bool) {
		b.with(measurand, x, chain, func() {
			ok = !slices.ContainsFunc(broken, b.contradicts) && len(b.broken()) == 0
		})
		return ok
	}
	const steps = 16
	at := func(i int) float64 { return within.low * math.Pow(within.high/within.low, float64(i)/steps) }
	if !(within.low > 0) {
		return false
	}
	for _, e := range broken {
		miss := func(x float64) (y float64) {
			b.with(measurand, x, chain, func() {
				y, _ = b.implied(e)
				y -= b.numbers[e.out]
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
