package packed

import (
	"fmt"
	"reflect"
	"unsafe"
)

// Values are packed from where they lie in memory, at offsets that reflection gave once
// for each type: asking it for every field of every value took most of the time. What is
// read so are values of the program, in the types it compiled; nothing is written so,
// and what was kept is unpacked by reflection.

// list is a slice as it lies in memory.
type list struct {
	first       unsafe.Pointer
	length, cap int
}

// textOf gives bytes that nobody writes to any more as a text, without copying them.
func textOf(b []byte) string { return unsafe.String(unsafe.SliceData(b), len(b)) }

// leaf is a part of a struct that is no struct.
type leaf struct {
	offset uintptr // from the beginning of the struct, in bytes
	size   uintptr // in bytes
	kind   reflect.Kind
}

// leavesOf appends the leaves of a type that lies at an offset.
func leavesOf(to []leaf, t reflect.Type, at uintptr) []leaf {
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			to = leavesOf(to, f.Type, at+f.Offset)
		}
		return to
	case reflect.Bool, reflect.Int, reflect.Int8, reflect.Int64, reflect.Uint8, reflect.Uint32, reflect.Uint64, reflect.Float64,
		reflect.String, reflect.Slice, reflect.Pointer, reflect.Map:
		return append(to, leaf{at, t.Size(), t.Kind()})
	}
	panic(fmt.Sprintf("internal error: cannot tell whether a %s holds something", t)) // a kind no kept type has: every test that keeps the value shows it
}

// holds reports whether the value at a place in memory is to be packed: a list with
// elements, else anything but the zero value.
func (as *plan) holds(at unsafe.Pointer) bool {
	if as.kind != reflect.Struct {
		return leaf{kind: as.kind, size: as.size}.holds(at)
	}
	for _, one := range as.empty {
		if one.kind == reflect.Slice && (*list)(unsafe.Add(at, one.offset)).first != nil || one.kind != reflect.Slice && one.holds(unsafe.Add(at, one.offset)) {
			return true
		}
	}
	return false
}

func (l leaf) holds(at unsafe.Pointer) bool {
	switch l.kind {
	case reflect.String:
		return len(*(*string)(at)) > 0
	case reflect.Slice:
		return (*list)(at).length > 0
	case reflect.Pointer, reflect.Map:
		return *(*unsafe.Pointer)(at) != nil
	case reflect.Float64:
		return *(*float64)(at) != 0 // and not for -0, as reflection has it
	}
	switch l.size {
	case 1:
		return *(*uint8)(at) != 0
	case 4:
		return *(*uint32)(at) != 0
	}
	return *(*uint64)(at) != 0
}
