package packed

import (
	"crypto/sha256"
	"reflect"
	"strings"
	"sync"
)

// hashed is how many bytes of the SHA-256 of a part are its name.
const hashed = 16

// Part is what recurs of structs, packed; its name follows from what it is.
type Part struct {
	Name   string // 16 bytes
	Packed []byte
}

// PartOf is a part by what it holds.
func PartOf(packed []byte) Part {
	sum := sha256.Sum256(packed)
	return Part{string(sum[:hashed]), packed}
}

// Parts are the parts of values that were packed apart. They may be used by many
// at a time; what they give is shared and must not be written to.
type Parts struct {
	fetch func(name string) ([]byte, error)
	known *sync.Map // name to reflect.Value, a pointer
}

// NewParts gives the parts that fetch has, each read once.
func NewParts(fetch func(name string) ([]byte, error)) *Parts { return &Parts{fetch, &sync.Map{}} }

// With gives the same parts and others beside them, which are fetched first.
func (p *Parts) With(others func(name string) []byte) *Parts {
	return &Parts{func(name string) ([]byte, error) {
		if packed := others(name); packed != nil {
			return packed, nil
		}
		return p.fetch(name)
	}, p.known}
}

// failed carries an error of fetching out of the value.
type failed struct{ error }

// of gives a part, read once.
func (p *Parts) of(name string, t reflect.Type) reflect.Value {
	if p == nil {
		damaged() // nothing was packed apart where this was read
	}
	if known, ok := p.known.Load(name); ok && known.(reflect.Value).Type().Elem() == t {
		return known.(reflect.Value)
	}
	packed, err := p.fetch(name)
	if err != nil {
		panic(failed{err})
	}
	if PartOf(packed).Name != name {
		damaged()
	}
	v := reflect.New(t)
	if err := Unpack(packed, v.Interface()); err != nil {
		panic(failed{err})
	}
	p.known.Store(strings.Clone(name), v)
	return v
}

// Names gives the names of the parts of a packed value.
func Names(packed []byte) ([]string, error) {
	u := &unpacker{data: string(packed)}
	var out []string
	err := u.guard(func() {
		u.heading()
		for i := 0; i < len(u.names); i += hashed {
			out = append(out, u.names[i:i+hashed])
		}
	})
	return out, err
}
