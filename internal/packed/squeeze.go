package packed

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"sync"

	"github.com/klauspost/compress/flate"
)

var (
	deflaters = sync.Pool{New: func() any {
		w, err := flate.NewWriter(nil, flate.BestSpeed)
		if err != nil {
			panic("internal error: " + err.Error()) // only for an unknown level
		}
		return w
	}}
	inflaters = sync.Pool{New: func() any { return flate.NewReader(nil) }}
)

// Squeeze makes a packed value smaller for keeping: its length, then the value
// deflated. Digests are of what was packed, since what compresses may change.
func Squeeze(packed []byte) []byte {
	b := bytes.NewBuffer(binary.AppendUvarint(make([]byte, 0, 64+len(packed)/2), uint64(len(packed))))
	w := deflaters.Get().(*flate.Writer)
	defer deflaters.Put(w)
	w.Reset(b)
	_, err := w.Write(packed)
	if err = errors.Join(err, w.Close()); err != nil {
		panic("internal error: " + err.Error()) // a buffer takes everything
	}
	return b.Bytes()
}

// Loosen undoes Squeeze.
func Loosen(squeezed []byte) ([]byte, error) {
	n, size := binary.Uvarint(squeezed)
	// Deflating makes at most a thousandth of a value.
	if size <= 0 || n > uint64(len(squeezed))*1100 {
		return nil, ErrDamaged
	}
	out := make([]byte, n)
	r := inflaters.Get().(io.ReadCloser)
	defer inflaters.Put(r)
	if err := r.(flate.Resetter).Reset(bytes.NewReader(squeezed[size:]), nil); err != nil {
		return nil, ErrDamaged
	}
	if _, err := io.ReadFull(r, out); err != nil {
		return nil, ErrDamaged
	}
	if n, err := r.Read(make([]byte, 1)); n > 0 || !errors.Is(err, io.EOF) {
		return nil, ErrDamaged
	}
	return out, nil
}
