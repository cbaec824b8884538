// Package mutate puts inputs that a seeded mutator makes of good ones to a check, many
// more in a second than the fuzzer of the Go tool can, and the same ones in every run.
package mutate

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"flag"
	"fmt"
	"hash/maphash"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"
)

var (
	mutations = flag.Int("mutations", 20_000, "how many inputs each TestMutations makes")
	stream    = flag.Uint64("stream", 1, "number of the random stream from which TestMutations makes inputs")
)

const (
	grown   = 4               // times longer than the longest seed an input may be
	kept    = 4096            // inputs that did what none before did
	patient = 2 * time.Minute // for one input: none that ends takes a thousandth of it
)

// Source is what inputs are made of.
type Source struct {
	Seeds  [][]byte
	Tokens []string // what the format gives a meaning, put in as a whole
	Target string   // the fuzz target whose corpus an input that fails is added to
}

// Run makes inputs and puts each to check, which says in a few words what became of it.
// An input that came to what none before came to, but for digits and what is quoted, is
// a seed for others.
func Run(t *testing.T, s Source, check func(t *testing.T, input []byte) string) {
	t.Helper()
	largest := 64
	for _, seed := range s.Seeds {
		largest = max(largest, len(seed))
	}
	m := &maker{random: rand.New(rand.NewPCG(*stream, 0)), tokens: s.Tokens, pool: append([][]byte(nil), s.Seeds...), longest: grown * largest}
	seeds, key, seen := len(m.pool), maphash.MakeSeed(), map[uint64]bool{}
	done := 0
	hang := time.AfterFunc(patient, func() { panic(fmt.Sprintf("no end within %s of %q", patient, m.input)) })
	defer hang.Stop()
	defer func() {
		if stopped := recover(); stopped != nil {
			m.save(t, s.Target)
			panic(stopped)
		}
		if t.Failed() {
			m.save(t, s.Target)
		}
		t.Logf("%d inputs, %d of them kept as seeds beside %d", done, len(m.pool)-seeds, seeds)
	}()
	for range *mutations {
		m.make()
		hang.Reset(patient)
		came := check(t, m.input)
		if done++; t.Failed() {
			return
		}
		if len(m.input) > largest || len(m.pool) >= seeds+kept {
			continue
		}
		if class := maphash.Bytes(key, class(came)); !seen[class] {
			seen[class] = true
			m.pool = append(m.pool, bytes.Clone(m.input))
		}
	}
}

// class is the kind of a text: without digits and without what stands in quotation marks.
func class(s string) []byte {
	out := make([]byte, 0, 256)
	quoted := false
	for i := range min(len(s), cap(out)) {
		switch c := s[i]; {
		case c == '"':
			quoted = !quoted
		case !quoted && (c < '0' || c > '9'):
			out = append(out, c)
		}
	}
	return out
}

// maker makes one input after another in the same memory.
type maker struct {
	random  *rand.Rand
	tokens  []string
	pool    [][]byte
	longest int
	input   []byte
}

func (m *maker) make() {
	m.input = append(m.input[:0], m.pool[m.random.IntN(len(m.pool))]...)
	for range 1 + m.random.IntN(1<<m.random.IntN(4)) {
		m.change()
		m.input = m.input[:min(len(m.input), m.longest)]
	}
}

// change makes one change.
func (m *maker) change() {
	b, r := m.input, m.random
	if len(b) == 0 {
		m.insert(0, m.piece())
		return
	}
	at := r.IntN(len(b))
	end := min(len(b), at+1+r.IntN(1<<r.IntN(10)))
	switch r.IntN(11) {
	case 0:
		b[at] ^= 1 << r.IntN(8)
	case 1:
		b[at] = byte(r.IntN(256))
	case 2:
		b[at] += byte(r.IntN(7)) - 3
	case 3:
		m.input = append(b[:at], b[end:]...)
	case 4:
		m.input = b[:at]
	case 5:
		clear(b[at:end])
	case 6: // a number of four or two bytes, around what is there or at an edge
		m.number(b[at:])
	case 7:
		copy(b[at:], m.piece())
	case 8:
		m.insert(at, m.piece())
	case 9:
		m.insert(r.IntN(len(b)), bytes.Clone(b[at:end]))
	case 10: // two places change what they hold
		to := r.IntN(len(b))
		for i := 0; at+i < end && to+i < len(b); i++ {
			b[at+i], b[to+i] = b[to+i], b[at+i]
		}
	}
}

func (m *maker) number(b []byte) {
	edges := []uint32{0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFE, 0xFFFF, 0x10000, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF}
	switch {
	case len(b) >= 4 && m.random.IntN(2) == 0:
		n := edges[m.random.IntN(len(edges))]
		if m.random.IntN(2) == 0 {
			n = binary.LittleEndian.Uint32(b) + uint32(m.random.IntN(33)) - 16
		}
		binary.LittleEndian.PutUint32(b, n)
	case len(b) >= 2:
		n := uint16(edges[m.random.IntN(len(edges))])
		if m.random.IntN(2) == 0 {
			n = binary.LittleEndian.Uint16(b) + uint16(m.random.IntN(33)) - 16
		}
		binary.LittleEndian.PutUint16(b, n)
	}
}

// piece is a token, or a part of another seed.
func (m *maker) piece() []byte {
	if len(m.tokens) > 0 && m.random.IntN(2) == 0 {
		return []byte(m.tokens[m.random.IntN(len(m.tokens))])
	}
	other := m.pool[m.random.IntN(len(m.pool))]
	if len(other) == 0 {
		return []byte{byte(m.random.IntN(256))}
	}
	at := m.random.IntN(len(other))
	return other[at:min(len(other), at+1+m.random.IntN(1<<m.random.IntN(10)))]
}

func (m *maker) insert(at int, piece []byte) {
	tail := bytes.Clone(m.input[at:])
	m.input = append(append(m.input[:at], piece...), tail...)
}

// save adds the input to the corpus of the fuzz target, as the Go tool does.
func (m *maker) save(t *testing.T, target string) {
	sum := sha256.Sum256(m.input)
	path := filepath.Join("testdata", "fuzz", target, fmt.Sprintf("%x", sum[:8]))
	text := fmt.Sprintf("go test fuzz v1\n[]byte(%q)\n", m.input)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Logf("%v; input %q", err, m.input)
	} else if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Logf("%v; input %q", err, m.input)
	}
	t.Logf("the input lies in %s", path)
}
