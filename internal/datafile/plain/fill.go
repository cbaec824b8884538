package plain

import (
	"echotally/internal/datafile/written"
	"encoding"
	"errors"
	"reflect"
	"strconv"
	"strings"
	"sync"
)

// Decode decodes a file of the small part of YAML that readTree knows, leaving
// out what stands under a key if one is given; false when the file is not like
// that or does not fit the type, in which case what was filled in is of no use.
func Decode(src, leave string, into reflect.Value) bool {
	r := readers.Get().(*reader)
	defer r.done()
	if !r.readTree(src, leave) {
		return false
	}
	f := &filler{nodes: r.nodes}
	return f.fill(&r.nodes[0], into) && !f.doubt
}

// filler fills Go values from a tree.
type filler struct {
	nodes []node
	doubt bool // a value was met that the library may take where we do not
}

// sure notes a doubt, which stays: a type that tries several forms must not take
// the second because the first was doubtful.
func (f *filler) sure(is bool) bool {
	f.doubt = f.doubt || !is
	return is
}

// unmarshaler is a type that decodes itself.
type unmarshaler interface {
	UnmarshalYAML(decode func(any) error) error
}

// errNotPlain is what a type that decodes itself learns of a value that does not
// fit what it tried.
var errNotPlain = errors.New("not of that form")

func (f *filler) fill(n *node, into reflect.Value) bool {
	switch p := planOf(into.Type()); p.how {
	case bySelf:
		own := into.Addr().Interface().(unmarshaler)
		return own.UnmarshalYAML(func(v any) error {
			if p := reflect.ValueOf(v); p.Kind() != reflect.Pointer || !f.fill(n, p.Elem()) {
				return errNotPlain
			}
			return nil
		}) == nil
	case byWritten:
		into.SetString(n.text)
		return n.form == quotedScalar || n.form == plainScalar && f.sure(isText(n.text) || isNumber(n.text))
	case byShape:
		into.SetInt(int64(n.shape()))
		return true
	case byText:
		into.SetString(n.text)
		return n.form == quotedScalar || n.form == plainScalar && f.sure(isText(n.text) || isNumber(n.text) && !strings.Contains(n.text, "."))
	case byNumber:
		return f.sure(n.form == plainScalar && fillNumber(n.text, into))
	case byPointer:
		to := reflect.New(into.Type().Elem())
		into.Set(to)
		return f.fill(n, to.Elem())
	case byEntry:
		return n.form == sequence && f.fillSlice(n, into)
	case byName:
		return n.form == mapping && f.fillMap(n, into)
	case byField:
		return n.form == mapping && f.fillStruct(n, into, p)
	}
	return false
}

func (f *filler) fillSlice(n *node, into reflect.Value) bool {
	count := 0
	for c := n.child; c != 0; c = f.nodes[c].next {
		count++
	}
	out := reflect.MakeSlice(into.Type(), count, count)
	i := 0
	for c := n.child; c != 0; c = f.nodes[c].next {
		if !f.fill(&f.nodes[c], out.Index(i)) {
			return false
		}
		i++
	}
	into.Set(out)
	return true
}

func (f *filler) fillMap(n *node, into reflect.Value) bool {
	t := into.Type()
	if t.Key().Kind() != reflect.String {
		return false
	}
	count := 0
	for c := n.child; c != 0; c = f.nodes[c].next {
		count++
	}
	out := reflect.MakeMapWithSize(t, count)
	key, value := reflect.New(t.Key()).Elem(), reflect.New(t.Elem()).Elem() // of which the map takes copies
	for c := n.child; c != 0; c = f.nodes[c].next {
		if value.SetZero(); !f.fill(&f.nodes[c], value) {
			return false
		}
		key.SetString(f.nodes[c].key)
		out.SetMapIndex(key, value)
	}
	into.Set(out)
	return f.sure(out.Len() == count) // otherwise a key stands twice
}

func (f *filler) fillStruct(n *node, into reflect.Value, p *plan) bool {
	var seen uint64
	for c := n.child; c != 0; c = f.nodes[c].next {
		field, known := p.fields[f.nodes[c].key]
		if !f.sure(known && seen>>field.number&1 == 0) {
			return false
		}
		seen |= 1 << field.number
		to := into
		for _, i := range field.index {
			to = to.Field(i)
		}
		if !f.fill(&f.nodes[c], to) {
			return false
		}
	}
	return true
}

func fillNumber(text string, into reflect.Value) bool {
	switch kind := into.Kind(); {
	case kind == reflect.Bool:
		into.SetBool(text == "true")
		return text == "true" || text == "false"
	case !isNumber(text):
		return false
	case into.CanFloat():
		x, err := strconv.ParseFloat(text, into.Type().Bits())
		into.SetFloat(x)
		return err == nil
	default:
		i, err := strconv.ParseInt(text, 10, into.Type().Bits())
		into.SetInt(i)
		return err == nil
	}
}

// isNumber reports whether a text is a number in its plainest form.
func isNumber(text string) bool {
	whole, fraction, point := strings.Cut(strings.TrimPrefix(text, "-"), ".")
	digits := func(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }
	return digits(whole) && len(whole) < 16 && (whole == "0" || whole[0] != '0') && (!point || digits(fraction)) && text != "-0"
}

// isText reports whether a text without quotes is surely a text, not a number, a
// date or a word of YAML.
func isText(text string) bool {
	if len(text) <= len("false") {
		switch strings.ToLower(text) {
		case "", "~", "null", "true", "false", ".inf", "-.inf", "+.inf", ".nan", "<<", "=":
			return false
		case "yes", "no", "on", "off", "y", "n":
			return text == strings.ToLower(text)
		}
	}
	if c := text[0]; c != '+' && c != '-' && c != '.' && (c < '0' || c > '9') {
		return true
	}
	if digits := strings.TrimLeft(text, "+-"); len(digits) > 1 && digits[0] == '0' && digits[1] > '9' {
		return false // of another base
	}
	return strings.Trim(text, "0123456789eE_+-.:tTzZ") != ""
}

// how a type is filled.
type how uint8

const (
	notAtAll how = iota
	bySelf
	byWritten
	byShape
	byText
	byNumber
	byPointer
	byEntry
	byName
	byField
)

// plan is how values of one type are filled.
type plan struct {
	how    how
	fields map[string]field
}

type field struct {
	index  []int
	number int
}

// plans holds the plan of each type, made once.
var plans sync.Map

func planOf(t reflect.Type) *plan {
	if p, ok := plans.Load(t); ok {
		return p.(*plan)
	}
	p, _ := plans.LoadOrStore(t, newPlan(t))
	return p.(*plan)
}

func newPlan(t reflect.Type) *plan {
	pointer := reflect.PointerTo(t)
	_, itself := pointer.MethodByName("UnmarshalYAML")
	switch {
	case t == reflect.TypeFor[written.Text]():
		return &plan{how: byWritten}
	case t == reflect.TypeFor[written.Shape]():
		return &plan{how: byShape}
	case pointer.Implements(reflect.TypeFor[unmarshaler]()):
		return &plan{how: bySelf}
	case itself, pointer.Implements(reflect.TypeFor[encoding.TextUnmarshaler]()):
		return &plan{}
	}
	switch t.Kind() {
	case reflect.String:
		return &plan{how: byText}
	case reflect.Bool, reflect.Int, reflect.Int64, reflect.Float64:
		return &plan{how: byNumber}
	case reflect.Pointer:
		return &plan{how: byPointer}
	case reflect.Slice:
		return &plan{how: byEntry}
	case reflect.Map:
		return &plan{how: byName}
	case reflect.Struct:
		p := &plan{how: byField, fields: map[string]field{}}
		if !p.add(t, nil) || len(p.fields) > 64 {
			p.how = notAtAll
		}
		return p
	}
	return &plan{}
}

// add takes the fields of a struct, those of inlined ones among them and without those
// that are in no file; false when the struct has one that is not named for YAML.
func (p *plan) add(t reflect.Type, at []int) bool {
	for i := range t.NumField() {
		f := t.Field(i)
		index := append(append([]int(nil), at...), i)
		name, option, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		switch {
		case option == "inline" && f.Type.Kind() == reflect.Struct:
			if !p.add(f.Type, index) {
				return false
			}
		case name == "-":
		case name == "" || option != "" || !f.IsExported():
			return false
		default:
			p.fields[name] = field{index, len(p.fields)}
		}
	}
	return true
}

func (n *node) shape() written.Shape {
	switch n.form {
	case sequence:
		return written.Sequence
	case mapping:
		return written.Mapping
	}
	return written.Scalar
}
