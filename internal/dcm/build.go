package dcm

import "strconv"

// T makes a tag from its eight hexadecimal digits: T(0x0040A730).
func T(number uint32) Tag { return Tag{Group: uint16(number >> 16), Element: uint16(number)} }

// New makes a data set. Order does not matter: Write sorts.
func New(elements ...Element) Dataset { return Dataset{Elements: elements} }

// Add appends elements.
func (d *Dataset) Add(elements ...Element) { d.Elements = append(d.Elements, elements...) }

// Set puts elements in the place of those with the same tag.
func (d *Dataset) Set(elements ...Element) {
	for _, e := range elements {
		d.Remove(e.Tag)
		d.Add(e)
	}
}

// Remove takes out all elements with the tag.
func (d *Dataset) Remove(t Tag) {
	kept := make([]Element, 0, len(d.Elements))
	for _, e := range d.Elements {
		if e.Tag != t {
			kept = append(kept, e)
		}
	}
	d.Elements = kept
}

// build makes an element with the VR of the dictionary, "UN" for a tag that is
// not in it (see [Private]); Write refuses what does not fit together.
func build(t Tag, value any) Element { return element(t, dictionaryVR(t), value) }

// Strings makes an element of a text VR; without values it is empty.
func Strings(t Tag, values ...string) Element { return build(t, append([]string{}, values...)) }

// Ints makes an element of an integer VR, or of IS.
func Ints(t Tag, values ...int) Element {
	if dictionaryVR(t) != vrIS {
		return build(t, append([]int{}, values...))
	}
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = strconv.Itoa(v)
	}
	return build(t, texts)
}

// Floats makes an element of FL or FD.
func Floats(t Tag, values ...float64) Element { return build(t, append([]float64{}, values...)) }

// Bytes makes an element of OB, OW or UN; for Pixel Data they are the native
// pixels.
func Bytes(t Tag, value []byte) Element { return build(t, append([]byte{}, value...)) }

// Sequence makes a sequence of the items.
func Sequence(t Tag, list ...Dataset) Element { return build(t, list) }

// Private makes an element with a stated VR, for private tags and odd data; the
// value is []string, []int, []float64, []byte or []Dataset. It has no VR when
// that is none of the standard's.
func Private(t Tag, vr string, value any) Element {
	return element(t, vrNamed(vr), value)
}

// element makes an element with a source of its own.
func element(t Tag, v vr, value any) Element {
	own := &struct {
		source source
		store  store
		value  [1]any
	}{}
	own.source.store = &own.store
	e := Element{Tag: t, vr: v, source: &own.source}
	if list, ok := value.([]Dataset); ok {
		e.kept, e.length, own.store.items = items, uint32(len(list)), list
	} else {
		own.value[0] = value
		e.kept, e.length, own.store.made = made, 1, own.value[:]
	}
	return e
}
