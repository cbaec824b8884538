package packed

import (
	"encoding/binary"
	"math"
	"math/bits"
	"reflect"
	"sync"
	"time"
	"unsafe"

	"echotally/internal/ucum"
)

// Major types, the upper three bits of the first byte of a CBOR item.
const (
	unsigned = 0 << 5
	negative = 1 << 5
	octets   = 2 << 5
	text     = 3 << 5
	array    = 4 << 5
	mapping  = 5 << 5
	tagged   = 6 << 5
	simple   = 7 << 5
)

// Tags of the registry of CBOR tags.
const (
	tagTime      = 0   // a text of RFC 3339
	tagText      = 25  // the text that was there before, by its place
	tagShareable = 28  // a value that may be referred to
	tagShared    = 29  // the value that was there before, by its place
	tagTexts     = 256 // within it texts are numbered
)

// Simple values.
const (
	isFalse = simple | 20
	isTrue  = simple | 21
	isFloat = simple | 27
)

// tagApart is our own: what recurs of a struct, by its place among the parts, and
// the fields that are its own.
const tagApart = 0x6550

// form is the number of this form of packing, which is kept with the value.
const form = 2

// Form says how values are packed beside the numbers of their fields. Whoever
// unpacks needs the same texts and parts.
type Form struct {
	// Texts are known to both sides: they are referred to and not packed. Nil for none.
	Texts *Texts
	// Apart names, by type, the fields that are different in every value. The
	// others recur in value after value and are packed apart, once.
	Apart map[reflect.Type][]int
}

// Texts are so many texts in an order. They may be used by many at a time.
type Texts struct {
	list  []string
	once  sync.Once // for packing
	place map[string]int
}

// NewTexts gives the texts of a list, which must not be written to afterwards.
func NewTexts(list []string) *Texts { return &Texts{list: list} }

// places gives the place of each text.
func (t *Texts) places() map[string]int {
	if t == nil {
		return nil
	}
	t.once.Do(func() {
		t.place = make(map[string]int, len(t.list))
		for i, s := range t.list {
			t.place[s] = i
		}
	})
	return t.place
}

// Place gives the place of a text, from 0.
func (t *Texts) Place(text string) (at int, known bool) {
	at, known = t.places()[text]
	return at, known
}

// all gives the texts in their order.
func (t *Texts) all() []string {
	if t == nil {
		return nil
	}
	return t.list
}

// Clean takes names out of free texts.
type Clean struct {
	AsWritten map[string]bool          // fields, by name, whose texts stay as they are
	Text      func(text string) string // gives the text without names
}

// Of gives the text of a field without names.
func (c *Clean) Of(field, text string) string {
	if c.AsWritten[field] {
		return text
	}
	return c.Text(text)
}

// packer writes one value.
type packer struct {
	out   []byte
	form  Form
	clean *Clean
	plain bool           // nothing is referred to
	known map[string]int // texts of the form
	texts map[string]int // those that were packed
	named int            // texts that have a place
	marks map[string]int // shareable values by what they hold
	mark  []byte         // room for the key of one
	parts map[string]int // by what they hold
	split []split
	apart []Part
	one   *packer // for parts

	written *[128]written // shared with the one for parts
}

// written is whether the texts of a field stay as they are, looked up once for a value.
type written struct {
	of *field
	is bool
}

func (p *packer) asWritten(f *field) bool {
	known := &p.written[uintptr(unsafe.Pointer(f))/unsafe.Sizeof(*f)%uintptr(len(p.written))]
	if known.of != f {
		*known = written{f, p.clean.AsWritten[f.name]}
	}
	return known.is
}

// split is the shape of structs of which a part is packed apart, with the fields that
// are not.
type split struct {
	shape *shape
	own   fieldMask
}

// Pack writes down a value, given by a pointer to a struct. Clean is asked for
// every free text and may be nil. It panics over a type that cannot be packed.
func Pack(v any, clean *Clean) []byte {
	packed, _ := Form{}.Pack(v, clean)
	return packed
}

// packers are kept for the room in their tables.
var packers = sync.Pool{New: func() any {
	asWritten := &[128]written{}
	return &packer{texts: make(map[string]int, 1<<10), marks: make(map[string]int, 64), parts: map[string]int{}, out: make([]byte, 0, 16<<10), one: &packer{plain: true, written: asWritten}, written: asWritten}
}}

// Pack writes down a value, with the parts of it that are packed apart.
func (f Form) Pack(v any, clean *Clean) ([]byte, []Part) {
	p := packers.Get().(*packer)
	*p = packer{form: f, clean: clean, texts: p.texts, marks: p.marks, mark: p.mark[:0], parts: p.parts, split: p.split[:0], out: p.out[:0], one: p.one, written: p.written}
	defer func() {
		clear(p.texts)
		clear(p.marks)
		clear(p.parts)
		p.form, p.clean, p.apart, p.known = Form{}, nil, nil, nil
		*p.written = [128]written{}
		packers.Put(p)
	}()
	p.known, p.named = f.Texts.places(), len(f.Texts.all())
	for t, own := range f.Apart {
		p.split = append(p.split, split{shapeOf(t), maskOf(own)})
	}
	is := reflect.ValueOf(v)
	p.value(is.UnsafePointer(), planOf(is.Type().Elem()), nil)
	return p.whole(), p.apart
}

// whole puts the heading before what was packed: the form and the names of the
// parts.
func (p *packer) whole() []byte {
	h := &packer{out: make([]byte, 0, len(p.out)+hashed*len(p.apart)+16)}
	h.head(tagged, tagTexts)
	h.head(array, 3)
	h.head(unsigned, form)
	h.head(octets, uint64(hashed*len(p.apart)))
	for _, part := range p.apart {
		h.out = append(h.out, part.Name...)
	}
	return append(h.out, p.out...)
}

// Is reports whether bytes begin as what was packed does.
func Is(b []byte) bool {
	return len(b) > 5 && string(b[:5]) == string([]byte{tagged | 25, tagTexts >> 8, tagTexts & 0xFF, array | 3, form})
}

// head writes the head of an item.
func (p *packer) head(major byte, n uint64) {
	switch {
	case n < 24:
		p.out = append(p.out, major|byte(n))
	case n <= math.MaxUint8:
		p.out = append(p.out, major|24, byte(n))
	case n <= math.MaxUint16:
		p.out = binary.BigEndian.AppendUint16(append(p.out, major|25), uint16(n))
	case n <= math.MaxUint32:
		p.out = binary.BigEndian.AppendUint32(append(p.out, major|26), uint32(n))
	default:
		p.out = binary.BigEndian.AppendUint64(append(p.out, major|27), n)
	}
}

// text writes a text, or refers to where it was before.
func (p *packer) text(s string) {
	if p.plain {
		p.head(text, uint64(len(s)))
		p.out = append(p.out, s...)
		return
	}
	n, ok := p.texts[s]
	if !ok && p.known != nil {
		n, ok = p.known[s]
	}
	if ok {
		p.head(tagged, tagText)
		p.head(unsigned, uint64(n))
		return
	}
	p.head(text, uint64(len(s)))
	p.out = append(p.out, s...)
	if len(s) >= shortest(p.named) {
		p.texts[s] = p.named
		p.named++
	}
}

// shortest is the length from which a text gets the next place: a shorter one is
// no longer than the reference to it.
func shortest(place int) int {
	switch {
	case place < 24:
		return 3
	case place <= math.MaxUint8:
		return 4
	case place <= math.MaxUint16:
		return 5
	case place <= math.MaxUint32:
		return 7
	}
	return 11
}

// value writes the value at a place in memory, which is that of a field or within it.
func (p *packer) value(at unsafe.Pointer, as *plan, of *field) {
	switch as.kind {
	case reflect.Pointer:
		p.value(*(*unsafe.Pointer)(at), as.of, of)
	case reflect.String:
		s := *(*string)(at)
		if as.clean && p.clean != nil && !p.asWritten(of) {
			s = p.clean.Text(s)
		}
		p.text(s)
	case reflect.Bool:
		if *(*bool)(at) {
			p.out = append(p.out, isTrue)
		} else {
			p.out = append(p.out, isFalse)
		}
	case reflect.Int:
		p.integer(int64(*(*int)(at)))
	case reflect.Int64:
		p.integer(*(*int64)(at))
	case reflect.Uint8:
		p.head(unsigned, uint64(*(*uint8)(at)))
	case reflect.Uint32:
		p.head(unsigned, uint64(*(*uint32)(at)))
	case reflect.Uint64:
		p.head(unsigned, *(*uint64)(at))
	case reflect.Float64:
		p.out = binary.BigEndian.AppendUint64(append(p.out, isFloat), math.Float64bits(*(*float64)(at)))
	case reflect.Slice:
		p.list((*list)(at), as.of, of)
	case reflect.Struct:
		p.structure(at, as)
	default:
		panic("internal error: cannot pack " + as.is.String()) // a kind no kept field has: every test that keeps the value shows it
	}
}

func (p *packer) integer(n int64) {
	if n < 0 {
		p.head(negative, uint64(-1-n))
	} else {
		p.head(unsigned, uint64(n))
	}
}

func (p *packer) list(l *list, as *plan, of *field) {
	if as.kind == reflect.Uint8 {
		p.head(octets, uint64(l.length))
		p.out = append(p.out, unsafe.Slice((*byte)(l.first), l.length)...)
		return
	}
	p.head(array, uint64(l.length))
	for i := range l.length {
		p.value(unsafe.Add(l.first, uintptr(i)*as.size), as, of)
	}
}

func (p *packer) structure(at unsafe.Pointer, as *plan) {
	s := as.shape
	if s == nil {
		if as.is == quantityType {
			p.quantity((*ucum.Quantity)(at))
			return
		}
		p.head(tagged, tagTime)
		p.text((*time.Time)(at).Format(time.RFC3339Nano))
		return
	}
	if s.shared && !p.plain {
		p.mark = binary.AppendUvarint(p.mark[:0], uint64(uintptr(unsafe.Pointer(s)))) // there is one of a type
		for _, text := range s.texts {
			one := *(*string)(unsafe.Add(at, text))
			p.mark = append(binary.AppendUvarint(p.mark, uint64(len(one))), one...)
		}
		if p.marked() {
			return
		}
	}
	for i := range p.split {
		if one := &p.split[i]; one.shape == s {
			p.head(tagged, tagApart)
			p.head(array, 2)
			p.head(unsigned, uint64(p.part(at, s, everyField&^one.own)))
			p.fields(at, s, one.own)
			return
		}
	}
	p.fields(at, s, everyField)
}

// marked refers to the value whose key is at hand, if it was there before;
// otherwise it gets the next place, and is to be written.
func (p *packer) marked() bool {
	if n, ok := p.marks[string(p.mark)]; ok {
		p.head(tagged, tagShared)
		p.head(unsigned, uint64(n))
		return true
	}
	p.marks[string(p.mark)] = len(p.marks)
	p.head(tagged, tagShareable)
	return false
}

// fieldMask has a bit for every number of a field.
type fieldMask uint64

const everyField = ^fieldMask(0)

func maskOf(numbers []int) (out fieldMask) {
	for _, n := range numbers {
		out |= 1 << n
	}
	return out
}

// part packs what recurs of a struct, and gives its place among the parts.
func (p *packer) part(at unsafe.Pointer, s *shape, recurs fieldMask) int {
	p.one.clean, p.one.out = p.clean, p.one.out[:0]
	p.one.fields(at, s, recurs)
	n, ok := p.parts[string(p.one.out)]
	if !ok {
		n = len(p.apart)
		p.parts[string(p.one.out)] = n
		p.apart = append(p.apart, PartOf(p.one.whole()))
	}
	return n
}

// fields packs those fields of a struct that are wanted and hold something.
func (p *packer) fields(at unsafe.Pointer, s *shape, wanted fieldMask) {
	held := uint64(0) // a bit for every place of a field
	for i := range s.fields {
		f := &s.fields[i]
		if wanted>>f.number&1 == 1 && f.of.holds(unsafe.Add(at, f.offset)) {
			held |= 1 << i
		}
	}
	p.head(mapping, uint64(bits.OnesCount64(held)))
	for ; held != 0; held &= held - 1 {
		f := &s.fields[bits.TrailingZeros64(held)]
		p.head(unsigned, uint64(f.number))
		p.value(unsafe.Add(at, f.offset), f.of, f)
	}
}

func (p *packer) quantity(q *ucum.Quantity) {
	value, unit := q.Value.Exact(), q.Unit.Code()
	if !p.plain {
		p.mark = append(p.mark[:0], 0) // no shape has this number
		p.mark = append(binary.AppendUvarint(p.mark, uint64(len(value))), value...)
		if p.mark = append(p.mark, unit...); p.marked() {
			return
		}
	}
	p.head(array, 2)
	p.text(value)
	p.text(unit)
}
