// Package first owns the form in which version 1 of the ledger packed values: a
// table of the strings followed by the value itself. Of a struct only the fields
// that are not zero are there, each under its name and the kind of its value. It is
// only read; nothing packs it any more.
package first

import (
	"encoding/binary"
	"math"
	"reflect"
	"slices"
	"time"

	"echotally/internal/packed"
	"echotally/internal/ucum"
)

// form is the first byte of what version 1 packed.
const form = 1

// Is reports whether version 1 packed a value.
func Is(plain []byte) bool { return len(plain) > 0 && plain[0] == form }

// Kinds of packed values; the kind stands beside the name of a field.
const (
	kindNumber = iota // unsigned varint: bool, integers in zigzag, index of a string
	kindFloat         // 8 bytes
	kindStruct        // fields up to a name of 0
	kindList          // length, kind of the elements, elements
)

const kindBits = 2 // quantities and times are packed as fixed numbers of strings

var (
	quantityType = reflect.TypeFor[ucum.Quantity]()
	timeType     = reflect.TypeFor[time.Time]()
)

// unpacker reads one value.
type unpacker struct {
	rest       []byte
	strings    []string
	quantities map[[2]uint64]*ucum.Quantity
}

// Unpack reads what version 1 packed into v, a pointer to a struct. What is not whole
// gives [packed.ErrDamaged].
func Unpack(plain []byte, v any) (err error) {
	defer func() {
		// Every read past the end or of a string that is not there ends here.
		if r := recover(); r != nil {
			if r != any(packed.ErrDamaged) {
				panic(r)
			}
			err = packed.ErrDamaged
		}
	}()
	u := &unpacker{rest: plain[1:], quantities: map[[2]uint64]*ucum.Quantity{}}
	u.table()
	u.value(reflect.ValueOf(v).Elem())
	return nil
}

func (u *unpacker) take(n uint64) []byte {
	if n > uint64(len(u.rest)) {
		panic(packed.ErrDamaged)
	}
	out := u.rest[:n]
	u.rest = u.rest[n:]
	return out
}

// table reads the strings; they share one text.
func (u *unpacker) table() {
	n := u.number()
	if n > uint64(len(u.rest)) {
		panic(packed.ErrDamaged)
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
		panic(packed.ErrDamaged)
	}
	u.rest = u.rest[size:]
	return n
}

func (u *unpacker) text() string { return u.lookup(u.number()) }

func (u *unpacker) lookup(n uint64) string {
	if n == 0 || n > uint64(len(u.strings)) {
		panic(packed.ErrDamaged)
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
			panic(packed.ErrDamaged)
		}
		v.Set(reflect.MakeSlice(v.Type(), int(n), int(n)))
		for i := range int(n) {
			u.value(v.Index(i))
		}
	case reflect.Struct:
		u.structure(v)
	}
}

// pointer sets v to a value of its own, quantities to one that others share.
func (u *unpacker) pointer(v reflect.Value) {
	of := v.Type().Elem()
	if of == quantityType {
		v.Set(reflect.ValueOf(u.quantity()))
		return
	}
	v.Set(reflect.New(of))
	u.value(v.Elem())
}

func (u *unpacker) structure(v reflect.Value) {
	switch x := v.Addr().Interface().(type) {
	case *ucum.Quantity:
		*x = *u.quantity()
		return
	case *time.Time:
		t, err := time.Parse(time.RFC3339Nano, u.text())
		if err != nil {
			panic(packed.ErrDamaged)
		}
		*x = t
		return
	}
	names := fieldNames[v.Type()]
	for {
		n := u.number()
		if n == 0 {
			return
		}
		name, kind := u.lookup(n), int(u.number())
		place := packed.Index(v.Type(), names[name])
		if place < 0 || kindOf(v.Field(place).Type()) != kind {
			u.skip(kind)
			continue
		}
		u.value(v.Field(place))
	}
}

// kindOf tells how values of a type were packed.
func kindOf(t reflect.Type) int {
	switch {
	case t.Kind() == reflect.Pointer:
		return kindOf(t.Elem())
	case t == quantityType:
		return kindNumber | 1<<kindBits
	case t.Kind() == reflect.Float64:
		return kindFloat
	case t.Kind() == reflect.Slice:
		return kindList
	case t.Kind() == reflect.Struct && t != timeType:
		return kindStruct
	}
	return kindNumber
}

func (u *unpacker) quantity() *ucum.Quantity {
	key := [2]uint64{u.number(), u.number()}
	if known := u.quantities[key]; known != nil {
		return known
	}
	value, err := ucum.ParseExact(u.lookup(key[0]))
	if err != nil {
		panic(packed.ErrDamaged)
	}
	unit, err := ucum.Parse(u.lookup(key[1]))
	if err != nil {
		panic(packed.ErrDamaged)
	}
	q := &ucum.Quantity{Value: value, Unit: unit}
	u.quantities[key] = q
	return q
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
		panic(packed.ErrDamaged)
	}
}
