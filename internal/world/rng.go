package world

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// rnd is a named random stream: the same seed and names give the same
// numbers, whatever other streams were used before.
type rnd struct{ *rand.Rand }

func stream(seed uint64, names ...string) *rnd {
	h := fnv.New64a()
	for _, n := range names {
		h.Write([]byte(n))
		h.Write([]byte{0})
	}
	return &rnd{rand.New(rand.NewPCG(seed, h.Sum64()))}
}

// in draws uniformly from [lo, hi].
func (r *rnd) in(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// sc draws a factor near 1 with the given CV, cut at two SD.
func (r *rnd) sc(cv float64) float64 {
	z := r.NormFloat64()
	return 1 + cv*math.Max(-2, math.Min(2, z))
}

func (r *rnd) chance(p float64) bool { return r.Float64() < p }

func pick[T any](r *rnd, xs []T) T { return xs[r.IntN(len(xs))] }

func clamp(x, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, x)) }
