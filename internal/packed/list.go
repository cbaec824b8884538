package packed

import (
	"reflect"
	"strings"
)

// list reads n elements, in the room there is.
func (u *unpacker) list(v reflect.Value, as *plan, n int) {
	used := v.Cap() >= n
	if used {
		v.SetLen(n)
	} else {
		v.Set(reflect.MakeSlice(as.is, n, n))
	}
	kept := 0
	var known map[string]bool
	if u.keep != nil {
		known = u.keep.of(as.of)
	}
	for range n {
		if known != nil && u.unwanted(as.of, known) {
			continue
		}
		one := v.Index(kept)
		if used {
			one.SetZero()
		}
		u.value(one, as.of)
		kept++
	}
	v.SetLen(kept)
}

// Wanted says which elements of lists are wanted, by the part of them that is packed
// apart. It asks of each part once, and is for one goroutine.
type Wanted struct {
	is    func(part any) bool
	known map[*plan]map[string]bool // by what a part is read as, and its name
}

// NewWanted wants the elements for whose part, of which it gets a pointer, is gives
// true. The part must not be written to.
func NewWanted(is func(part any) bool) *Wanted {
	return &Wanted{is, map[*plan]map[string]bool{}}
}

// of is what is known of parts that are read as something; nil for what has none.
func (w *Wanted) of(as *plan) map[string]bool {
	if as.shape == nil {
		return nil
	}
	known := w.known[as]
	if known == nil {
		known = map[string]bool{}
		w.known[as] = known
	}
	return known
}

// unwanted passes over the next element of a list when it has a part packed apart that
// is not wanted.
func (u *unpacker) unwanted(as *plan, known map[string]bool) bool {
	at := u.at
	if at < len(u.data) && u.data[at]&0xE0 == tagged {
		if _, tag := u.head(); tag == tagApart && !u.wanted(as, known) {
			u.skip()
			return true
		}
	}
	u.at = at
	return false
}

func (u *unpacker) wanted(as *plan, known map[string]bool) bool {
	name := u.partName()
	is, told := known[name]
	if !told {
		is = u.keep.is(u.parts.of(name, as.is).Interface())
		known[strings.Clone(name)] = is
	}
	return is
}

// skip passes over an item, and gives what is in it its places. It is what most of a
// study is read by when few of its values are wanted.
func (u *unpacker) skip() {
	data, at := u.data, u.at
	for left := uint64(1); left > 0; left-- {
		if at >= len(data) {
			damaged()
		}
		major, n := data[at]&0xE0, uint64(data[at]&0x1F)
		if at++; n >= 24 {
			u.at = at
			n = u.long(n)
			at = u.at
		}
		switch major {
		case text:
			if n > uint64(len(data)-at) {
				damaged()
			}
			u.place(data[at : at+int(n)])
			at += int(n)
		case octets:
			if n > uint64(len(data)-at) {
				damaged()
			}
			at += int(n)
		case array, mapping:
			if n > uint64(len(data)-at) { // every item takes a byte or more
				damaged()
			}
			if left += n; major == mapping {
				left += n
			}
		case tagged:
			if n == tagShareable {
				u.at = at // where it stands
				u.begin()
			}
			left++
		}
	}
	u.at = at
}
