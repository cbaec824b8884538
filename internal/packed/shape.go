package packed

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"echotally/internal/echo"
	"echotally/internal/ucum"
)

var (
	protectedType = reflect.TypeFor[echo.Protected]()
	quantityType  = reflect.TypeFor[ucum.Quantity]()
	timeType      = reflect.TypeFor[time.Time]()
	textType      = reflect.TypeFor[string]()
)

// field is a field of a struct as it is packed.
type field struct {
	number int
	name   string
	index  int
	offset uintptr // from the beginning of the struct, in bytes
	of     *plan
}

// maxFields bounds the numbers of fields, and so their count.
const maxFields = 64

// shape is how structs of a type are packed.
type shape struct {
	fields []field   // by number
	place  []int     // of the field with a number, -1 for none
	shared bool      // it is packed once and referred to
	texts  []uintptr // offsets of all texts of a shared one, in bytes
}

// plan is how values of a type are packed, found out once for each type.
type plan struct {
	is    reflect.Type
	kind  reflect.Kind
	size  uintptr // in bytes
	empty []leaf  // what is zero in a struct that holds nothing
	clean bool    // a text that may name somebody
	of    *plan   // what a pointer leads to, or a list holds
	shape *shape  // of a struct; nil for one that is packed in a way of its own
}

var (
	plans  sync.Map // reflect.Type to *plan
	making sync.Mutex
)

func planOf(t reflect.Type) *plan {
	if known, ok := plans.Load(t); ok {
		return known.(*plan)
	}
	making.Lock() // there is one plan of a type
	defer making.Unlock()
	made := map[reflect.Type]*plan{}
	out := makePlan(t, made)
	for of, p := range made {
		plans.Store(of, p)
	}
	return out
}

// makePlan makes the plans of a type and of all types within it, which may hold
// itself.
func makePlan(t reflect.Type, made map[reflect.Type]*plan) *plan {
	if known, ok := plans.Load(t); ok {
		return known.(*plan)
	}
	if known := made[t]; known != nil {
		return known
	}
	out := &plan{is: t, kind: t.Kind(), size: t.Size(), clean: t == textType}
	made[t] = out
	switch {
	case out.kind == reflect.Pointer || out.kind == reflect.Slice:
		out.of = makePlan(t.Elem(), made)
	case out.kind == reflect.Struct && t != quantityType && t != timeType:
		out.shape = makeShape(t, made)
	}
	if out.kind == reflect.Struct {
		out.empty = leavesOf(nil, t, 0)
	}
	return out
}

func shapeOf(t reflect.Type) *shape { return planOf(t).shape }

func makeShape(t reflect.Type, made map[reflect.Type]*plan) *shape {
	out := &shape{}
	texts := true
	for i := range t.NumField() {
		f := t.Field(i)
		number, kept := numberOf(t, f)
		if !kept {
			texts = texts && f.Type != protectedType // what an unpacked one has there is not known
			continue
		}
		out.fields = append(out.fields, field{number: number, name: f.Name, index: i, offset: f.Offset, of: makePlan(f.Type, made)})
		texts = texts && ofTexts(f.Type)
	}
	slices.SortFunc(out.fields, func(a, b field) int { return cmp.Compare(a.number, b.number) })
	for i, f := range out.fields {
		for len(out.place) < f.number {
			out.place = append(out.place, -1)
		}
		if len(out.place) > f.number {
			panic(fmt.Sprintf("internal error: %s has the number %d twice", t, f.number))
		}
		out.place = append(out.place, i)
	}
	// Two short texts take no more room than the reference to them.
	if out.shared = texts && len(out.fields) > 2; out.shared {
		for _, one := range leavesOf(nil, t, 0) {
			if one.kind != reflect.String {
				panic(fmt.Sprintf("internal error: %s is more than its texts", t))
			}
			out.texts = append(out.texts, one.offset)
		}
	}
	return out
}

// ofTexts reports whether values of the type are texts or structs of texts.
func ofTexts(t reflect.Type) bool {
	if t.Kind() != reflect.Struct || t == timeType || t == quantityType {
		return t.Kind() == reflect.String
	}
	for i := range t.NumField() {
		if !ofTexts(t.Field(i).Type) {
			return false
		}
	}
	return true
}

// numberOf reads the tag of a field; kept is false for one that is not packed.
func numberOf(t reflect.Type, f reflect.StructField) (number int, kept bool) {
	tag, tagged := f.Tag.Lookup("cbor")
	if tag == "-" || !f.IsExported() || !tagged && f.Type == protectedType {
		return 0, false
	}
	digits, rest, _ := strings.Cut(tag, ",")
	number, err := strconv.Atoi(digits)
	switch {
	case err != nil || number < 1 || number >= maxFields || rest != "keyasint,omitempty":
		panic(fmt.Sprintf("internal error: %s.%s has no number; write `cbor:\"N,keyasint,omitempty\"`", t, f.Name))
	case f.Type == protectedType:
		panic(fmt.Sprintf("internal error: %s.%s names a person and has a number", t, f.Name))
	}
	return number, true
}

// Numbered is a field with its number.
type Numbered struct {
	Type   string // echo.Measurement
	Number int
	Name   string
	Of     string // type of its values: text, float, echo.Modifier, list of text
}

// Fields lists the numbered fields of the types and of all types within them, by
// type and number.
func Fields(types ...reflect.Type) []Numbered {
	var out []Numbered
	seen := map[reflect.Type]bool{}
	var visit func(t reflect.Type)
	visit = func(t reflect.Type) {
		switch {
		case t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice:
			visit(t.Elem())
		case t.Kind() != reflect.Struct || t == timeType || t == quantityType || seen[t]:
		default:
			seen[t] = true
			for _, f := range shapeOf(t).fields {
				out = append(out, Numbered{t.String(), f.number, f.name, inWords(f.of.is)})
				visit(f.of.is)
			}
		}
	}
	for _, t := range types {
		visit(t)
	}
	slices.SortFunc(out, func(a, b Numbered) int {
		return cmp.Or(strings.Compare(a.Type, b.Type), cmp.Compare(a.Number, b.Number))
	})
	return out
}

// inWords names a type by how its values are packed.
func inWords(t reflect.Type) string {
	switch {
	case t.Kind() == reflect.Pointer:
		return inWords(t.Elem())
	case t.Kind() == reflect.Slice:
		return "list of " + inWords(t.Elem())
	case t == quantityType:
		return "quantity"
	case t == timeType:
		return "time"
	case t.Kind() == reflect.String:
		return "text"
	case t.Kind() == reflect.Float64:
		return "float"
	case t.Kind() == reflect.Bool:
		return "truth"
	case t.Kind() == reflect.Struct:
		return t.String()
	}
	return "integer"
}

// Index gives the place in a struct type of the field with a number, -1 when
// there is none.
func Index(t reflect.Type, number int) int {
	s := shapeOf(t)
	if number < 0 || number >= len(s.place) || s.place[number] < 0 {
		return -1
	}
	return s.fields[s.place[number]].index
}
