package packed

import "reflect"

// list reads n elements, in the room there is.
func (u *unpacker) list(v reflect.Value, as *plan, n int) {
	used := v.Cap() >= n
	if used {
		v.SetLen(n)
	} else {
		v.Set(reflect.MakeSlice(as.is, n, n))
	}
	kept := 0
	for range n {
		if u.keep != nil && u.unwanted(as.of) {
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

// unwanted passes over the next element of a list when it has a part packed apart that
// is not wanted.
func (u *unpacker) unwanted(as *plan) bool {
	at := u.at
	if as.shape != nil && at < len(u.data) && u.data[at]&0xE0 == tagged {
		if _, tag := u.head(); tag == tagApart && !u.keep(u.part(as).Interface()) {
			u.skip()
			return true
		}
	}
	u.at = at
	return false
}

// skip passes over an item, and gives what is in it its places.
func (u *unpacker) skip() {
	if u.depth++; u.depth > deepest {
		damaged()
	}
	switch major, n := u.head(); major {
	case text:
		u.place(u.take(n))
	case octets:
		u.take(n)
	case array:
		for range n {
			u.skip()
		}
	case mapping:
		for range n {
			u.skip()
			u.skip()
		}
	case tagged:
		if n == tagShareable {
			u.begin()
		}
		u.skip()
	}
	u.depth--
}
