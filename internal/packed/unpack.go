package packed

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"sync"
	"time"

	"echotally/internal/ucum"
)

// ErrDamaged is given when what was packed cannot be read.
var ErrDamaged = errors.New("packed value is damaged")

// deepest is how far items may be nested: far more than any type packed here.
const deepest = 64

// mark is a shareable value: where it stands, and as what it was read.
type mark struct {
	at, texts, marks int           // places before it
	value            reflect.Value // pointer to it; zero while it was only passed over
}

// unpacker reads one value.
type unpacker struct {
	data  string
	at    int
	depth int
	known []string // texts of the form, which have the first places
	texts []string // those after them
	text  int      // place the next text gets
	marks []mark
	mark  int // place the next mark gets
	names string
	parts *Parts
	keep  *Wanted         // of the elements of lists that have a part packed apart; nil for all
	slab  []ucum.Quantity // room for quantities
}

// unpackers are kept for the room in their tables.
var unpackers = sync.Pool{New: func() any { return &unpacker{} }}

// Unpack reads what Pack wrote into v, a pointer to a struct that holds nothing
// yet. Texts that are alike share their memory, and so do the structs that
// pointers lead to. The texts lie in what was packed, which must not be written to
// afterwards.
func Unpack(packed []byte, v any) error { return Form{}.Unpack(packed, v, nil) }

// Unpack reads what Pack wrote in the same form.
func (f Form) Unpack(packed []byte, v any, parts *Parts) error {
	return f.unpack(packed, v, parts, nil)
}

func (f Form) unpack(packed []byte, v any, parts *Parts, keep *Wanted) error {
	u := unpackers.Get().(*unpacker)
	known := f.Texts.all()
	*u = unpacker{data: textOf(packed), known: known, texts: u.texts[:0], text: len(known), marks: u.marks[:0], slab: u.slab, parts: parts, keep: keep}
	defer func() {
		clear(u.texts)
		clear(u.marks)
		u.data, u.names, u.known, u.parts, u.keep = "", "", nil, nil, nil
		unpackers.Put(u)
	}()
	return u.guard(func() {
		u.heading()
		to := reflect.ValueOf(v).Elem()
		u.value(to, planOf(to.Type()))
		if u.at != len(u.data) {
			damaged()
		}
	})
}

// UnpackOver reads what Pack wrote in the place of what v holds, whose room is
// used again: for going through many values of which none is kept.
//
// It leaves out of lists what is not wanted, of the elements that have a part packed
// apart; nil wants all.
func (f Form) UnpackOver(packed []byte, v any, parts *Parts, keep *Wanted) error {
	to := reflect.ValueOf(v).Elem()
	for i := range to.NumField() {
		if one := to.Field(i); one.Kind() == reflect.Slice {
			one.SetLen(0)
		} else {
			one.SetZero()
		}
	}
	return f.unpack(packed, v, parts, keep)
}

// guard turns what reading ends with into an error: every read past the end or of
// what is not there.
func (u *unpacker) guard(read func()) (err error) {
	defer func() {
		switch r := recover().(type) {
		case nil:
		case failed:
			err = r.error
		case error:
			if !errors.Is(r, ErrDamaged) {
				panic(r)
			}
			err = r
		default:
			panic(r)
		}
	}()
	read()
	return nil
}

// heading reads the form and the names of the parts.
func (u *unpacker) heading() {
	if u.expect(tagged) != tagTexts || u.expect(array) != 3 {
		damaged()
	}
	if is := u.expect(unsigned); is != form {
		panic(fmt.Errorf("%w: its form has the number %d, this program reads %d", ErrDamaged, is, form))
	}
	u.names = u.take(u.expect(octets))
	if len(u.names)%hashed != 0 {
		damaged()
	}
}

func damaged() { panic(ErrDamaged) }

// head reads the head of an item.
func (u *unpacker) head() (major byte, n uint64) {
	if u.at >= len(u.data) {
		damaged()
	}
	first := u.data[u.at]
	u.at++
	if n = uint64(first & 0x1F); n < 24 { // nearly all are small
		return first & 0xE0, n
	}
	return first & 0xE0, u.long(n)
}

// long reads the number of a head that does not fit its first byte.
func (u *unpacker) long(n uint64) uint64 {
	if n > 27 {
		damaged() // items of no stated length are not written here
	}
	size := 1 << (n - 24)
	n = 0
	text := u.take(uint64(size))
	for i := range len(text) {
		n = n<<8 | uint64(text[i])
	}
	return n
}

// take gives the next n bytes.
func (u *unpacker) take(n uint64) string {
	if n > uint64(len(u.data)-u.at) {
		damaged()
	}
	out := u.data[u.at : u.at+int(n)]
	u.at += int(n)
	return out
}

// expect reads the head of an item of one type.
func (u *unpacker) expect(major byte) uint64 {
	is, n := u.head()
	if is != major {
		damaged()
	}
	return n
}

// length reads the head of a list; every element takes a byte or more.
func (u *unpacker) length() int {
	n := u.expect(array)
	if n > uint64(len(u.data)-u.at) {
		damaged()
	}
	return int(n)
}

// string reads a text or a reference to one.
func (u *unpacker) string() string {
	major, n := u.head()
	if major == tagged && n == tagText {
		n = u.expect(unsigned)
		if n < uint64(len(u.known)) {
			return u.known[n]
		}
		if n -= uint64(len(u.known)); n >= uint64(len(u.texts)) {
			damaged()
		}
		return u.texts[n]
	}
	if major != text {
		damaged()
	}
	return u.place(u.take(n))
}

// place gives a text its place, unless it was read before.
func (u *unpacker) place(s string) string {
	if len(s) >= shortest(u.text) {
		if u.text == len(u.known)+len(u.texts) {
			u.texts = append(u.texts, s)
		}
		u.text++
	}
	return s
}

func (u *unpacker) value(v reflect.Value, as *plan) {
	switch as.kind {
	case reflect.Pointer:
		if as.of.kind == reflect.Struct && as.of.is != timeType {
			v.Set(u.pointer(as.of))
			return
		}
		v.Set(reflect.New(as.of.is))
		u.value(v.Elem(), as.of)
	case reflect.String:
		v.SetString(u.string())
	case reflect.Bool:
		switch major, n := u.head(); major | byte(n) {
		case isTrue:
			v.SetBool(true)
		case isFalse:
		default:
			damaged()
		}
	case reflect.Int, reflect.Int64:
		u.integer(v)
	case reflect.Uint8, reflect.Uint32, reflect.Uint64:
		n := u.expect(unsigned)
		if v.OverflowUint(n) {
			damaged()
		}
		v.SetUint(n)
	case reflect.Float64:
		v.SetFloat(u.float())
	case reflect.Slice:
		if as.of.kind == reflect.Uint8 {
			v.SetBytes([]byte(u.take(u.expect(octets))))
			return
		}
		u.list(v, as, u.length())
	case reflect.Struct:
		u.structure(v, as)
	default:
		panic("internal error: cannot unpack " + v.Type().String())
	}
}

func (u *unpacker) integer(v reflect.Value) {
	major, n := u.head()
	if n > math.MaxInt64 || major != unsigned && major != negative {
		damaged()
	}
	if major == negative {
		v.SetInt(-1 - int64(n))
		return
	}
	v.SetInt(int64(n))
}

// float reads a float of 8 bytes; its head says so, and the bytes are its number.
func (u *unpacker) float() float64 {
	if u.at >= len(u.data) || u.data[u.at] != isFloat {
		damaged()
	}
	_, n := u.head()
	return math.Float64frombits(n)
}

func (u *unpacker) structure(v reflect.Value, as *plan) {
	switch as.is {
	case timeType:
		if u.expect(tagged) != tagTime {
			damaged()
		}
		t, err := time.Parse(time.RFC3339Nano, u.string())
		if err != nil {
			damaged()
		}
		v.Set(reflect.ValueOf(t))
	case quantityType:
		v.Set(u.pointer(as).Elem())
	default:
		if u.at < len(u.data) && u.data[u.at]&0xE0 == tagged {
			at := u.at
			if _, tag := u.head(); tag == tagApart {
				u.apart(v, as)
				return
			}
			u.at = at
			v.Set(u.pointer(as).Elem())
			return
		}
		u.fields(v, as)
	}
}

// apart reads a struct of which a part was packed apart.
func (u *unpacker) apart(v reflect.Value, as *plan) {
	v.Set(u.part(as).Elem())
	u.fields(v, as)
}

// part gives the part of a struct that was packed apart, by a pointer.
func (u *unpacker) part(as *plan) reflect.Value { return u.parts.of(u.partName(), as.is) }

// partName gives the name of the part that is next.
func (u *unpacker) partName() string {
	if u.expect(array) != 2 {
		damaged()
	}
	n := u.expect(unsigned)
	if n >= uint64(len(u.names)/hashed) {
		damaged()
	}
	return u.names[n*hashed : (n+1)*hashed]
}

// pointer gives a struct by a pointer, which others share when it is shareable.
func (u *unpacker) pointer(of *plan) reflect.Value {
	if u.at >= len(u.data) {
		damaged()
	}
	if u.data[u.at]&0xE0 != tagged {
		v := reflect.New(of.is)
		u.body(v.Elem(), of)
		return v
	}
	switch _, tag := u.head(); tag {
	case tagApart:
		v := reflect.New(of.is)
		u.apart(v.Elem(), of)
		return v
	case tagShareable:
		n := u.begin()
		v := u.fresh(of.is)
		u.body(v.Elem(), of)
		if !u.marks[n].value.IsValid() {
			u.marks[n].value = v
		}
		return v
	case tagShared:
		return u.shared(of, u.expect(unsigned))
	}
	damaged()
	return reflect.Value{}
}

// fresh makes room for a struct. Quantities are many and small, and made by the
// dozen.
func (u *unpacker) fresh(of reflect.Type) reflect.Value {
	if of != quantityType {
		return reflect.New(of)
	}
	if len(u.slab) == 0 {
		u.slab = make([]ucum.Quantity, 64)
	}
	q := &u.slab[0]
	u.slab = u.slab[1:]
	return reflect.ValueOf(q)
}

// begin gives the next mark its place, unless it was read before.
func (u *unpacker) begin() int {
	n := u.mark
	if n == len(u.marks) {
		u.marks = append(u.marks, mark{at: u.at, texts: u.text, marks: n + 1})
	}
	u.mark++
	return n
}

// shared gives the value at a mark; one that was passed over is read now.
func (u *unpacker) shared(of *plan, n uint64) reflect.Value {
	if n >= uint64(len(u.marks)) {
		damaged()
	}
	m := u.marks[n]
	if m.value.IsValid() && m.value.Type().Elem() == of.is {
		return m.value
	}
	if u.depth++; u.depth > deepest { // a value within itself
		damaged()
	}
	at, texts, marks := u.at, u.text, u.mark
	u.at, u.text, u.mark = m.at, m.texts, m.marks
	v := reflect.New(of.is)
	u.body(v.Elem(), of)
	u.at, u.text, u.mark = at, texts, marks
	u.depth--
	if !m.value.IsValid() {
		u.marks[n].value = v
	}
	return v
}

// body reads what a struct holds.
func (u *unpacker) body(v reflect.Value, as *plan) {
	if as.is != quantityType {
		u.fields(v, as)
		return
	}
	if u.expect(array) != 2 {
		damaged()
	}
	value, err := ucum.ParseExact(u.string())
	if err != nil {
		damaged()
	}
	unit, err := unitOf(u.string())
	if err != nil {
		damaged()
	}
	*v.Addr().Interface().(*ucum.Quantity) = ucum.Quantity{Value: value, Unit: unit}
}

func (u *unpacker) fields(v reflect.Value, as *plan) {
	if u.depth++; u.depth > deepest {
		damaged()
	}
	s := as.shape
	for range u.expect(mapping) {
		n := u.expect(unsigned)
		if n >= uint64(len(s.place)) || s.place[n] < 0 {
			u.skip()
			continue
		}
		f := &s.fields[s.place[n]]
		u.value(v.Field(f.index), f.of)
	}
	u.depth--
}

var units sync.Map // code to ucum.Unit; a ledger holds few

func unitOf(code string) (ucum.Unit, error) {
	if known, ok := units.Load(code); ok {
		return known.(ucum.Unit), nil
	}
	unit, err := ucum.Parse(code)
	if err == nil {
		units.Store(strings.Clone(code), unit)
	}
	return unit, err
}
