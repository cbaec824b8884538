package dcm

import (
	"bytes"
	"encoding/binary"
	"math"
	"strconv"

	"github.com/suyashkumar/dicom"
)

// Limits of header reading.
const (
	maxHeaderValue = 64 << 10 // a longer value is stepped over
	maxHeaderBytes = 16 << 20 // all values together
)

func (e encoding) order() binary.ByteOrder {
	if e.bigEndian {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

func (e encoding) uint16(b []byte) uint16 { return e.order().Uint16(b) }

func (e encoding) uint32(b []byte) uint32 { return e.order().Uint32(b) }

// value reads a value of defined length into the library's types.
func (w *walker) value(h elementHeader, b bound, enc encoding, text charset) (*dicom.Element, error) {
	length := int64(h.length)
	if length > b.end-w.pos {
		return nil, w.tooLong(h, b, w.path(h.tag))
	}
	if w.header {
		if length > maxHeaderValue {
			w.skipped = append(w.skipped, Loss{
				Offset: h.start, TagPath: w.path(h.tag),
				Reason: "value of " + strconv.FormatInt(length, 10) + " bytes, too long for header reading" + w.where,
			})
			w.pos += length
			return newElement(h, []byte(nil)), nil
		}
		if w.room -= length; w.room < 0 {
			return nil, w.broken(h.start, w.path(h.tag), "more than %d bytes of values before the pixel data", maxHeaderBytes)
		}
	}
	raw, err := w.in.slice(w.pos, length)
	if err != nil {
		return nil, err
	}
	w.pos += length
	if length%2 == 1 {
		w.deviation(w.path(h.tag), "PS3.5 7.1.1", "odd value length")
	}
	data, err := w.decode(h, raw, enc, text)
	if err != nil {
		return nil, err
	}
	return newElement(h, data), nil
}

// wordSize is the size of one number of a VR, or of one word of a byte VR that
// the byte order applies to; 0 for text.
func wordSize(vr string) int {
	switch vr {
	case "US", "SS", "AT", "OW":
		return 2
	case "UL", "SL", "FL", "OF", "OL":
		return 4
	case "UV", "SV", "FD", "OD", "OV":
		return 8
	case "OB", "UN":
		return 1
	}
	return 0
}

// decode turns the bytes of a value into []string, []int, []float64 or []byte.
func (w *walker) decode(h elementHeader, raw []byte, enc encoding, text charset) (any, error) {
	size := wordSize(h.vr)
	if size == 0 {
		return w.text(h, raw, text)
	}
	if rest := len(raw) % size; rest != 0 {
		w.deviation(w.path(h.tag), "PS3.5 6.2", "length %d is no multiple of %d; %d bytes not used", len(raw), size, rest)
		raw = raw[:len(raw)-rest]
	}
	switch h.vr {
	case "OB", "UN", "OW", "OL", "OV":
		return littleEndian(raw, size, enc), nil
	}
	if err := w.take(len(raw)/size, h); err != nil {
		return nil, err
	}
	switch h.vr {
	case "FL", "FD", "OF", "OD":
		return floats(raw, size, enc), nil
	case "UV":
		for i := 0; i < len(raw); i += 8 {
			if enc.order().Uint64(raw[i:]) > math.MaxInt64 {
				w.deviation(w.path(h.tag), "PS3.5 6.2", "number beyond 63 bits; kept as bytes")
				return littleEndian(raw, size, enc), nil
			}
		}
	}
	return integers(h.vr, raw, size, enc), nil
}

// littleEndian copies a byte value, its words in little endian order.
func littleEndian(raw []byte, size int, enc encoding) []byte {
	out := bytes.Clone(raw)
	if enc.bigEndian {
		for i := 0; i+size <= len(out); i += size {
			for a, z := i, i+size-1; a < z; a, z = a+1, z-1 {
				out[a], out[z] = out[z], out[a]
			}
		}
	}
	return out
}

// floats reads FL and FD. A 32-bit number goes through its shortest text, so
// that 0.1 stays 0.1, as in the library.
func floats(raw []byte, size int, enc encoding) []float64 {
	out := make([]float64, 0, len(raw)/size)
	for i := 0; i < len(raw); i += size {
		if size == 8 {
			out = append(out, math.Float64frombits(enc.order().Uint64(raw[i:])))
			continue
		}
		single := math.Float32frombits(enc.order().Uint32(raw[i:]))
		double, err := strconv.ParseFloat(strconv.FormatFloat(float64(single), 'g', -1, 32), 64)
		if err != nil {
			double = float64(single)
		}
		out = append(out, double)
	}
	return out
}

// integers reads the integer VRs; AT gives group and element as two numbers,
// as in the library.
func integers(vr string, raw []byte, size int, enc encoding) []int {
	out := make([]int, 0, len(raw)/size)
	order := enc.order()
	for i := 0; i < len(raw); i += size {
		switch vr {
		case "US", "AT":
			out = append(out, int(order.Uint16(raw[i:])))
		case "SS":
			out = append(out, int(int16(order.Uint16(raw[i:]))))
		case "UL":
			out = append(out, int(order.Uint32(raw[i:])))
		case "SL":
			out = append(out, int(int32(order.Uint32(raw[i:]))))
		default: // SV, UV
			out = append(out, int(order.Uint64(raw[i:])))
		}
	}
	return out
}

// text decodes a text value. Splitting comes after decoding: the byte of the
// backslash is part of characters in several multi-byte sets.
func (w *walker) text(h elementHeader, raw []byte, text charset) (any, error) {
	if !unsplit[h.vr] {
		if err := w.take(bytes.Count(raw, []byte{'\\'}), h); err != nil {
			return nil, err
		}
	}
	values, note := text.decode(h.vr, raw)
	if note != "" {
		w.deviation(w.path(h.tag), "PS3.5 6.1.2", "%s", note)
	}
	return values, nil
}
