package store

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"reflect"
	"sync"
	"time"

	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// A packed value is a table of its strings followed by the value itself. Of a
// struct only the fields that are not zero are there, each under its name, so
// that what an earlier version wrote is read by a later one with more fields,
// and fields that are gone are passed over. Protected texts are never packed:
// what is packed cannot name the patient.

// packFormat is the first byte of what is packed.
const packFormat = 1

// Kinds of packed values; the kind stands beside the name of a field.
const (
	kindNumber = iota // unsigned varint: bool, integers in zigzag, index of a string
	kindFloat         // 8 bytes
	kindStruct        // fields up to a name of 0
	kindList          // length, kind of the elements, elements
)

const kindBits = 2

var (
	protectedType = reflect.TypeFor[echo.Protected]()
	quantityType  = reflect.TypeFor[ucum.Quantity]()
	timeType      = reflect.TypeFor[time.Time]()
)

// packer writes one value.
type packer struct {
	body    []byte
	strings []string
	index   map[string]int
	clean   func(field, text string) string // takes names out of free text
}

// pack writes a value down. Clean is asked for every text with the name of the
// field it stands in.
func pack(v any, clean func(field, text string) string) []byte {
	p := &packer{index: map[string]int{}, clean: clean}
	p.value(reflect.ValueOf(v).Elem(), "")
	out := binary.AppendUvarint([]byte{packFormat}, uint64(len(p.strings)))
	for _, s := range p.strings {
		out = append(binary.AppendUvarint(out, uint64(len(s))), s...)
	}
	return append(out, p.body...)
}

// number appends a varint.
func (p *packer) number(n uint64) { p.body = binary.AppendUvarint(p.body, n) }

// intern gives the place of a string in the table, from 1.
func (p *packer) intern(s string) uint64 {
	n, ok := p.index[s]
	if !ok {
		p.strings = append(p.strings, s)
		n = len(p.strings)
		p.index[s] = n
	}
	return uint64(n)
}

func (p *packer) value(v reflect.Value, field string) {
	switch v.Kind() {
	case reflect.Pointer:
		p.value(v.Elem(), field)
	case reflect.String:
		text := v.String()
		if v.Type() == reflect.TypeFor[string]() {
			text = p.clean(field, text)
		}
		p.number(p.intern(text))
	case reflect.Bool:
		p.number(uint64(boolBit(v.Bool())))
	case reflect.Int, reflect.Int64:
		p.body = binary.AppendVarint(p.body, v.Int())
	case reflect.Uint32:
		p.number(v.Uint())
	case reflect.Float64:
		p.body = binary.LittleEndian.AppendUint64(p.body, math.Float64bits(v.Float()))
	case reflect.Slice:
		p.number(uint64(v.Len()))
		p.number(uint64(kindOf(v.Type().Elem())))
		for i := range v.Len() {
			p.value(v.Index(i), field)
		}
	case reflect.Struct:
		p.structure(v)
	default:
		panic("internal error: cannot pack " + v.Type().String())
	}
}

func (p *packer) structure(v reflect.Value) {
	switch x := v.Interface().(type) {
	case ucum.Quantity:
		p.number(p.intern(x.Value.Exact()))
		p.number(p.intern(x.Unit.Code()))
		return
	case time.Time:
		p.number(p.intern(x.Format(time.RFC3339Nano)))
		return
	}
	for _, f := range shapeOf(v.Type()).fields {
		x := v.Field(f.index)
		if x.IsZero() || x.Kind() == reflect.Slice && x.Len() == 0 {
			continue
		}
		p.number(p.intern(f.name))
		p.number(uint64(f.kind))
		p.value(x, f.name)
	}
	p.number(0)
}

func boolBit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// kindOf tells how values of the type are packed. Quantities and times are
// structs of a fixed number of strings and packed as lists of these.
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

// packedField is a field of a struct as it is packed.
type packedField struct {
	name  string
	index int
	kind  int
}

// shape is how structs of a type are packed.
type shape struct {
	fields []packedField
	texts  bool // it holds texts alone
}

var shapes sync.Map // reflect.Type to *shape

func shapeOf(t reflect.Type) *shape {
	if known, ok := shapes.Load(t); ok {
		return known.(*shape)
	}
	out := &shape{texts: true}
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Type == protectedType {
			out.texts = false // what an unpacked value has there is not known
			continue
		}
		kind := kindOf(f.Type)
		out.fields = append(out.fields, packedField{f.Name, i, kind})
		out.texts = out.texts && (f.Type.Kind() == reflect.String || kind == kindStruct && f.Type.Kind() == reflect.Struct && shapeOf(f.Type).texts)
	}
	shapes.Store(t, out)
	return out
}

// squeeze makes a packed value smaller for keeping: its length, then the value
// deflated. Digests are of what was packed, since what compresses may change.
func squeeze(packed []byte) []byte {
	b := bytes.NewBuffer(binary.AppendUvarint(nil, uint64(len(packed))))
	w, err := flate.NewWriter(b, flate.DefaultCompression)
	if err == nil {
		_, err = w.Write(packed)
	}
	if err = errors.Join(err, w.Close()); err != nil {
		panic("internal error: " + err.Error()) // a buffer takes everything
	}
	return b.Bytes()
}

var inflaters = sync.Pool{New: func() any { return flate.NewReader(nil) }}

// loosen undoes squeeze.
func loosen(squeezed []byte) ([]byte, error) {
	n, size := binary.Uvarint(squeezed)
	// Deflating makes at most a thousandth of a value.
	if size <= 0 || n > uint64(len(squeezed))*1100 {
		return nil, errPacked
	}
	out := make([]byte, n)
	r := inflaters.Get().(io.ReadCloser)
	defer inflaters.Put(r)
	if err := r.(flate.Resetter).Reset(bytes.NewReader(squeezed[size:]), nil); err != nil {
		return nil, errPacked
	}
	if _, err := io.ReadFull(r, out); err != nil {
		return nil, errPacked
	}
	return out, nil
}

// unkeep reads what was kept into v, a pointer.
func unkeep(squeezed []byte, v any) error {
	packed, err := loosen(squeezed)
	if err != nil {
		return err
	}
	return unpack(packed, v)
}

var errPacked = errors.New("packed value is damaged")
