package dcm

import (
	"bytes"
	"compress/flate"
	"compress/zlib"
	"errors"
	"fmt"
	"io"
)

// windowSize is how much ReadHeader holds of a file at a time.
const windowSize = 16 << 10

// input gives bounds-checked access to the bytes of a file: all of them in
// memory, or a window that moves over an io.ReaderAt.
type input struct {
	mem  []byte
	from io.ReaderAt
	size int64

	window []byte
	start  int64
}

func inMemory(b []byte) *input { return &input{mem: b, size: int64(len(b))} }

func inWindow(r io.ReaderAt, size int64) *input { return &input{from: r, size: size} }

// slice returns n bytes at offset, valid until the next call. The caller has
// checked that they lie within size; an error is an I/O error.
func (in *input) slice(offset, n int64) ([]byte, error) {
	if offset < 0 || n < 0 || offset+n > in.size {
		return nil, fmt.Errorf("read of %d bytes at offset %d beyond the end %d", n, offset, in.size)
	}
	if in.from == nil {
		return in.mem[offset : offset+n], nil
	}
	if offset < in.start || offset+n > in.start+int64(len(in.window)) {
		length := min(max(n, windowSize), in.size-offset)
		if int64(cap(in.window)) < length {
			in.window = make([]byte, length)
		}
		in.window, in.start = in.window[:length], offset
		if _, err := in.from.ReadAt(in.window, offset); err != nil && !errors.Is(err, io.EOF) {
			in.window = nil
			return nil, err
		} else if err != nil && offset+length < in.size {
			in.window = nil
			return nil, io.ErrUnexpectedEOF
		}
	}
	return in.window[offset-in.start:][:n], nil
}

// peek returns up to n bytes at offset, fewer at the end of the file.
func (in *input) peek(offset, n int64) ([]byte, error) {
	if offset >= in.size {
		return nil, nil
	}
	return in.slice(offset, min(n, in.size-offset))
}

// inflated is the outcome of inflating a deflated data set.
type inflated struct {
	data    []byte
	capped  bool  // there is more than the ceiling
	io      error // the file could not be read
	damage  error // the stream is cut or corrupt; data holds what came before
	zlib    bool  // the stream has a zlib header against PS3.5 A.5
	trailer int64 // bytes after the end of the stream
}

// inflate expands the raw deflate stream (RFC 1951) that starts at offset.
// The ceiling is what keeps a small file from filling the memory.
func (in *input) inflate(offset, ceiling int64, room *space) inflated {
	head, err := in.peek(offset, 2)
	if err != nil {
		return inflated{io: err}
	}
	isZlib := len(head) == 2 && head[0] == 0x78 && (uint(head[0])<<8|uint(head[1]))%31 == 0
	var src flate.Reader
	var taken func() int64
	if in.from == nil {
		whole := bytes.NewReader(in.mem[offset:])
		src, taken = whole, func() int64 { return in.size - offset - int64(whole.Len()) }
	} else {
		counting := &countingReader{r: io.NewSectionReader(in, offset, in.size-offset)}
		src, taken = counting, func() int64 { return counting.n }
	}
	var r io.Reader
	if isZlib {
		if r, err = zlib.NewReader(src); err != nil {
			return inflated{damage: err, zlib: true}
		}
	} else {
		r = room.inflater(src)
	}
	out := bytes.NewBuffer(room.inflated[:0])
	_, err = io.Copy(out, io.LimitReader(r, ceiling+1))
	room.inflated = out.Bytes()
	res := inflated{data: out.Bytes(), damage: err, zlib: isZlib, trailer: in.size - offset - taken()}
	if int64(len(res.data)) > ceiling {
		res.data, res.capped, res.damage = res.data[:ceiling], true, nil
	}
	return res
}

// ReadAt makes the input its own source for inflation.
func (in *input) ReadAt(p []byte, offset int64) (int, error) {
	if offset >= in.size {
		return 0, io.EOF
	}
	n := min(int64(len(p)), in.size-offset)
	b, err := in.slice(offset, n)
	if err != nil {
		return 0, err
	}
	copy(p, b)
	if n < int64(len(p)) {
		return int(n), io.EOF
	}
	return int(n), nil
}

// countingReader counts the bytes that a decompressor takes; being an
// io.ByteReader it keeps flate from reading ahead.
type countingReader struct {
	r   io.Reader
	n   int64
	buf [4096]byte
	b   []byte
}

func (c *countingReader) ReadByte() (byte, error) {
	if len(c.b) == 0 {
		n, err := c.r.Read(c.buf[:])
		if n == 0 {
			if err == nil {
				err = io.ErrNoProgress
			}
			return 0, err
		}
		c.b = c.buf[:n]
	}
	x := c.b[0]
	c.b = c.b[1:]
	c.n++
	return x, nil
}

func (c *countingReader) Read(p []byte) (int, error) {
	if len(c.b) == 0 {
		x, err := c.ReadByte()
		if err != nil {
			return 0, err
		}
		p[0] = x
		return 1, nil
	}
	n := copy(p, c.b)
	c.b = c.b[n:]
	c.n += int64(n)
	return n, nil
}
