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

// Wanted says which elements of lists are wanted, by the part of them that is packed
// apart. It asks of each part once, and is for one goroutine.
type Wanted struct {
	is    func(part any) bool
	known map[verdict]bool
}

// verdict is what is asked once: a part by its name, as what it is read.
type verdict struct {
	name [hashed]byte
	of   *plan
}

// NewWanted wants the elements for whose part, of which it gets a pointer, is gives
// true. The part must not be written to.
func NewWanted(is func(part any) bool) *Wanted {
	return &Wanted{is, map[verdict]bool{}}
}

// unwanted passes over the next element of a list when it has a part packed apart that
// is not wanted.
func (u *unpacker) unwanted(as *plan) bool {
	at := u.at
	if as.shape != nil && at < len(u.data) && u.data[at]&0xE0 == tagged {
		if _, tag := u.head(); tag == tagApart && !u.wanted(as) {
			u.skip()
			return true
		}
	}
	u.at = at
	return false
}

func (u *unpacker) wanted(as *plan) bool {
	name := u.partName()
	key := verdict{[hashed]byte([]byte(name)), as}
	is, known := u.keep.known[key]
	if !known {
		is = u.keep.is(u.parts.of(name, as.is).Interface())
		u.keep.known[key] = is
	}
	return is
}

// skip passes over an item, and gives what is in it its places.
func (u *unpacker) skip() {
	for left := uint64(1); left > 0; left-- {
		major, n := u.head()
		switch major {
		case text:
			u.place(u.take(n))
		case octets:
			u.take(n)
		case array, mapping:
			if n > uint64(len(u.data)-u.at) { // every item takes a byte or more
				damaged()
			}
			if left += n; major == mapping {
				left += n
			}
		case tagged:
			if n == tagShareable {
				u.begin()
			}
			left++
		}
	}
}
