// Package chance owns the named random streams that invented things are drawn from.
package chance

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// Stream is a named random stream: the same seed and names give the same
// numbers, whatever other streams were used before.
type Stream struct{ *rand.Rand }

// New gives the stream of a seed and names.
func New(seed uint64, names ...string) *Stream {
	h := fnv.New64a()
	for _, n := range names {
		h.Write([]byte(n))
		h.Write([]byte{0})
	}
	return &Stream{rand.New(rand.NewPCG(seed, h.Sum64()))}
}

// In draws uniformly from [lo, hi].
func (r *Stream) In(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// Scatter draws a factor near 1 with the given CV, cut at two SD.
func (r *Stream) Scatter(cv float64) float64 {
	z := r.NormFloat64()
	return 1 + cv*math.Max(-2, math.Min(2, z))
}

// Chance is true with a probability.
func (r *Stream) Chance(p float64) bool { return r.Float64() < p }

// Pick draws one of a list, which is not empty.
func Pick[T any](r *Stream, xs []T) T { return xs[r.IntN(len(xs))] }

// Clamp keeps x within two limits.
func Clamp(x, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, x)) }
