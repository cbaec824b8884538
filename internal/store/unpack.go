package store

import (
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
	"slices"
	"sync"
	"time"

	"echotally/internal/ucum"
)

// unpacker reads one value. A report says the same few things of every
// measurement: structs of texts and quantities that are packed alike are read
// once and share what they point to.
type unpacker struct {
	rest       []byte
	strings    []string
	structs    map[packedStruct]reflect.Value // as pointers
	quantities map[[2]uint64]*ucum.Quantity
}

// unpackers are kept for the room in their maps.
var unpackers = sync.Pool{New: func() any {
	return &unpacker{structs: map[packedStruct]reflect.Value{}, quantities: map[[2]uint64]*ucum.Quantity{}}
}}

// release gives the unpacker back without what it has read.
func (u *unpacker) release() {
	clear(u.structs)
	clear(u.quantities)
	clear(u.strings)
	u.rest = nil
	unpackers.Put(u)
}

// packedStruct is a struct as it was packed.
type packedStruct struct {
	shape  *shape
	packed string
}

// unpack reads what pack wrote into v, a pointer.
func unpack(packed []byte, v any) (err error) {
	defer func() {
		// Every read past the end or of a string that is not there ends here.
		if r := recover(); r != nil {
			if r != any(errPacked) {
				panic(r)
			}
			err = errPacked
		}
	}()
	if len(packed) == 0 || packed[0] != packFormat {
		return fmt.Errorf("%w: unknown format", errPacked)
	}
	u := unpackers.Get().(*unpacker)
	defer u.release()
	u.rest = packed[1:]
	u.table()
	u.value(reflect.ValueOf(v).Elem())
	return nil
}

func (u *unpacker) take(n uint64) []byte {
	if n > uint64(len(u.rest)) {
		panic(errPacked)
	}
	out := u.rest[:n]
	u.rest = u.rest[n:]
	return out
}

// table reads the strings; they share one text.
func (u *unpacker) table() {
	n := u.number()
	if n > uint64(len(u.rest)) {
		panic(errPacked)
	}
	u.strings = slices.Grow(u.strings[:0], int(n))[:n]
	begun := u.rest
	for range u.strings {
		u.take(u.number())
	}
	text := string(begun[:len(begun)-len(u.rest)])
	u.rest = begun
	for i := range u.strings {
		size := int(u.number())
		at := len(begun) - len(u.rest)
		u.strings[i] = text[at : at+size]
		u.take(uint64(size))
	}
}

func (u *unpacker) number() uint64 {
	if len(u.rest) > 0 && u.rest[0] < 0x80 { // nearly all are small
		n := u.rest[0]
		u.rest = u.rest[1:]
		return uint64(n)
	}
	n, size := binary.Uvarint(u.rest)
	if size <= 0 {
		panic(errPacked)
	}
	u.rest = u.rest[size:]
	return n
}

func (u *unpacker) text() string { return u.lookup(u.number()) }

func (u *unpacker) lookup(n uint64) string {
	if n == 0 || n > uint64(len(u.strings)) {
		panic(errPacked)
	}
	return u.strings[n-1]
}

func (u *unpacker) value(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		u.pointer(v)
	case reflect.String:
		v.SetString(u.text())
	case reflect.Bool:
		v.SetBool(u.number() != 0)
	case reflect.Int, reflect.Int64:
		n := u.number()
		v.SetInt(int64(n>>1) ^ -int64(n&1))
	case reflect.Uint32:
		v.SetUint(u.number())
	case reflect.Float64:
		v.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(u.take(8))))
	case reflect.Slice:
		n := u.number()
		u.number() // the kind, which only matters when the list is passed over
		if n > uint64(len(u.rest)) {
			panic(errPacked)
		}
		v.Set(reflect.MakeSlice(v.Type(), int(n), int(n)))
		for i := range int(n) {
			u.value(v.Index(i))
		}
	case reflect.Struct:
		u.structure(v)
	}
}

// pointer sets v to a value of its own, or to one that others share.
func (u *unpacker) pointer(v reflect.Value) {
	of := v.Type().Elem()
	switch {
	case of == quantityType:
		v.Set(reflect.ValueOf(u.quantity()))
	case of.Kind() == reflect.Struct && of != timeType && shapeOf(of).texts:
		v.Set(u.shared(of, shapeOf(of)))
	default:
		v.Set(reflect.New(of))
		u.value(v.Elem())
	}
}

func (u *unpacker) structure(v reflect.Value) {
	switch x := v.Addr().Interface().(type) {
	case *ucum.Quantity:
		*x = *u.quantity()
		return
	case *time.Time:
		t, err := time.Parse(time.RFC3339Nano, u.text())
		if err != nil {
			panic(errPacked)
		}
		*x = t
		return
	}
	if s := shapeOf(v.Type()); s.texts {
		v.Set(u.shared(v.Type(), s).Elem())
	} else {
		u.fields(v, s)
	}
}

// shared gives a struct of texts as a pointer.
func (u *unpacker) shared(of reflect.Type, s *shape) reflect.Value {
	begun := u.rest
	u.skip(kindStruct)
	packed := begun[:len(begun)-len(u.rest)]
	if known, ok := u.structs[packedStruct{s, string(packed)}]; ok {
		return known
	}
	v := reflect.New(of)
	u.rest = begun
	u.fields(v.Elem(), s)
	u.structs[packedStruct{s, string(packed)}] = v
	return v
}

func (u *unpacker) fields(v reflect.Value, s *shape) {
	next := 0
	for {
		n := u.number()
		if n == 0 {
			return
		}
		name, kind := u.lookup(n), int(u.number())
		// Fields come in the order of the struct, so the next one is near.
		found := -1
		for i := range s.fields {
			if k := (next + i) % len(s.fields); s.fields[k].name == name {
				found = k
				break
			}
		}
		if found < 0 || s.fields[found].kind != kind {
			u.skip(kind)
			continue
		}
		next = found + 1
		u.value(v.Field(s.fields[found].index))
	}
}

func (u *unpacker) quantity() *ucum.Quantity {
	key := [2]uint64{u.number(), u.number()}
	if known := u.quantities[key]; known != nil {
		return known
	}
	value, err := ucum.ParseExact(u.lookup(key[0]))
	if err != nil {
		panic(errPacked)
	}
	unit, err := unitOf(u.lookup(key[1]))
	if err != nil {
		panic(errPacked)
	}
	q := &ucum.Quantity{Value: value, Unit: unit}
	u.quantities[key] = q
	return q
}

var units sync.Map // code to ucum.Unit; a ledger holds few

func unitOf(code string) (ucum.Unit, error) {
	if known, ok := units.Load(code); ok {
		return known.(ucum.Unit), nil
	}
	unit, err := ucum.Parse(code)
	if err == nil {
		units.Store(code, unit)
	}
	return unit, err
}

// skip passes over a value of a kind.
func (u *unpacker) skip(kind int) {
	switch kind {
	case kindNumber:
		u.number()
	case kindNumber | 1<<kindBits:
		u.number()
		u.number()
	case kindFloat:
		u.take(8)
	case kindStruct:
		for u.number() != 0 {
			u.skip(int(u.number()))
		}
	case kindList:
		n, of := u.number(), int(u.number())
		for range n {
			u.skip(of)
		}
	default:
		panic(errPacked)
	}
}
