package packed

import (
	"encoding/binary"
	"math"
	"reflect"
	"sync"
	"time"

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
	// Texts are known to both sides: they are referred to and not packed.
	Texts []string
	// Apart names, by type, the fields that are different in every value. The
	// others recur in value after value and are packed apart, once.
	Apart map[reflect.Type][]int
}

// Clean takes names out of a free text; it is told the field the text is in.
type Clean func(field, text string) string

// packer writes one value.
type packer struct {
	out   []byte
	form  Form
	clean Clean
	plain bool // nothing is referred to
	texts map[string]int
	named int            // texts that have a place
	marks map[string]int // shareable values by what they hold
	mark  []byte         // room for the key of one
	parts map[string]int // by what they hold
	split []split
	apart []Part
	one   *packer // for parts
}

// split is the shape of structs of which a part is packed apart, with the fields that
// are not.
type split struct {
	shape *shape
	own   fieldMask
}

// Pack writes down a value, given by a pointer to a struct. Clean is asked for
// every free text and may be nil. It panics over a type that cannot be packed.
func Pack(v any, clean Clean) []byte {
	packed, _ := Form{}.Pack(v, clean)
	return packed
}

// packers are kept for the room in their tables.
var packers = sync.Pool{New: func() any {
	return &packer{texts: make(map[string]int, 1<<10), marks: make(map[string]int, 64), parts: map[string]int{}, out: make([]byte, 0, 16<<10), one: &packer{plain: true}}
}}

// Pack writes down a value, with the parts of it that are packed apart.
func (f Form) Pack(v any, clean Clean) ([]byte, []Part) {
	p := packers.Get().(*packer)
	*p = packer{form: f, clean: clean, texts: p.texts, marks: p.marks, mark: p.mark[:0], parts: p.parts, split: p.split[:0], out: p.out[:0], one: p.one}
	defer func() {
		clear(p.texts)
		clear(p.marks)
		clear(p.parts)
		p.form, p.clean, p.apart = Form{}, nil, nil
		packers.Put(p)
	}()
	for _, s := range f.Texts {
		p.texts[s] = p.named
		p.named++
	}
	for t, own := range f.Apart {
		p.split = append(p.split, split{shapeOf(t), maskOf(own)})
	}
	is := reflect.ValueOf(v).Elem()
	p.value(is, planOf(is.Type()), "")
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
	if n, ok := p.texts[s]; ok {
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

func (p *packer) value(v reflect.Value, as *plan, name string) {
	switch as.kind {
	case reflect.Pointer:
		p.value(v.Elem(), as.of, name)
	case reflect.String:
		s := v.String()
		if p.clean != nil && as.clean {
			s = p.clean(name, s)
		}
		p.text(s)
	case reflect.Bool:
		if v.Bool() {
			p.out = append(p.out, isTrue)
		} else {
			p.out = append(p.out, isFalse)
		}
	case reflect.Int, reflect.Int64:
		if n := v.Int(); n < 0 {
			p.head(negative, uint64(-1-n))
		} else {
			p.head(unsigned, uint64(n))
		}
	case reflect.Uint8, reflect.Uint32, reflect.Uint64:
		p.head(unsigned, v.Uint())
	case reflect.Float64:
		p.out = binary.BigEndian.AppendUint64(append(p.out, isFloat), math.Float64bits(v.Float()))
	case reflect.Slice:
		if as.of.kind == reflect.Uint8 {
			p.head(octets, uint64(v.Len()))
			p.out = append(p.out, v.Bytes()...)
			return
		}
		p.head(array, uint64(v.Len()))
		for i := range v.Len() {
			p.value(v.Index(i), as.of, name)
		}
	case reflect.Struct:
		p.structure(v, as)
	default:
		panic("internal error: cannot pack " + v.Type().String()) // a kind no kept field has: every test that keeps the value shows it
	}
}

func (p *packer) structure(v reflect.Value, as *plan) {
	s := as.shape
	if s == nil {
		if as.is == quantityType {
			p.quantity(v.Addr().Interface().(*ucum.Quantity))
			return
		}
		p.head(tagged, tagTime)
		p.text(v.Interface().(time.Time).Format(time.RFC3339Nano))
		return
	}
	if s.shared && !p.plain {
		p.mark = binary.AppendUvarint(p.mark[:0], uint64(reflect.ValueOf(s).Pointer())) // there is one of a type
		p.mark = appendTexts(p.mark, v)
		if p.marked() {
			return
		}
	}
	for i := range p.split {
		if one := &p.split[i]; one.shape == s {
			p.head(tagged, tagApart)
			p.head(array, 2)
			p.head(unsigned, uint64(p.part(v, s, everyField&^one.own)))
			p.fields(v, s, one.own)
			return
		}
	}
	p.fields(v, s, everyField)
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

// appendTexts appends all texts of a struct of texts, each with its length.
func appendTexts(to []byte, v reflect.Value) []byte {
	if v.Kind() == reflect.String {
		s := v.String()
		return append(binary.AppendUvarint(to, uint64(len(s))), s...)
	}
	for i := range v.NumField() {
		to = appendTexts(to, v.Field(i))
	}
	return to
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
func (p *packer) part(v reflect.Value, s *shape, recurs fieldMask) int {
	p.one.clean, p.one.out = p.clean, p.one.out[:0]
	p.one.fields(v, s, recurs)
	n, ok := p.parts[string(p.one.out)]
	if !ok {
		n = len(p.apart)
		p.parts[string(p.one.out)] = n
		p.apart = append(p.apart, PartOf(p.one.whole()))
	}
	return n
}

// fields packs those fields of a struct that are wanted.
func (p *packer) fields(v reflect.Value, s *shape, wanted fieldMask) {
	var held [maxFields]int
	n := 0
	for i, f := range s.fields {
		if wanted>>f.number&1 == 1 && there(v.Field(f.index)) {
			held[n] = i
			n++
		}
	}
	p.head(mapping, uint64(n))
	for _, i := range held[:n] {
		f := &s.fields[i]
		p.head(unsigned, uint64(f.number))
		p.value(v.Field(f.index), f.of, f.name)
	}
}

// there reports whether a field holds something to be packed.
func there(v reflect.Value) bool {
	return !v.IsZero() && (v.Kind() != reflect.Slice || v.Len() > 0)
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
