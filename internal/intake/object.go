package intake

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"strings"
)

// HeadLimit is how much of a larger file is kept: enough for the header of
// any image, so that memory stays bounded whatever the size of the file.
const HeadLimit = 8 << 20

// WholeLimit bounds a report, which alone is read whole. Real ones have some 100 kB.
const WholeLimit = 16 << 20

// Object is one file found.
type Object struct {
	Path string // slashes, "!" before a path inside an archive, "stdin" for standard input
	Size int64

	Reason     string // why it is set aside; "" when it is to be read
	Hint       string // what the user can do about it
	Unreadable bool   // set aside although it may hold a report

	given bool // named by the user, not found in a folder
	open  func() (io.ReadCloser, error)
}

// Content is what was read of an object.
type Content struct {
	SHA256 string // of the whole file, hex
	Size   int64  // bytes actually there
	Bytes  []byte // the whole file, or its first HeadLimit bytes
}

// Whole reports whether Bytes is the whole file.
func (c Content) Whole() bool { return int64(len(c.Bytes)) == c.Size }

// Errors of Read for a file that is certainly something else and that nobody
// claimed to be DICOM.
var (
	ErrNotDICOM = errors.New("not a DICOM file")
	ErrEmpty    = errors.New("empty file")
)

// Read hashes the whole file and keeps its head. It needs HeadLimit of memory
// at most.
func (o Object) Read(ctx context.Context) (Content, error) {
	r, err := o.open()
	if err != nil {
		return Content{}, errors.New(ReasonOf(err))
	}
	defer r.Close()
	hash := sha256.New()
	source := io.TeeReader(&cancelled{ctx, r}, hash)
	head, err := o.head(source)
	if err != nil {
		return Content{}, readError(ctx, err)
	}
	switch {
	case len(head) == 0:
		return Content{}, ErrEmpty
	case !LooksLikeDICOM(head) && !o.Claimed():
		return Content{}, ErrNotDICOM
	}
	rest, err := io.Copy(io.Discard, source)
	if err != nil {
		return Content{}, readError(ctx, err)
	}
	return Content{SHA256: hex.EncodeToString(hash.Sum(nil)), Size: int64(len(head)) + rest, Bytes: head}, nil
}

// head reads the first HeadLimit bytes, into no more memory than the file is
// said to need.
func (o Object) head(r io.Reader) ([]byte, error) {
	b := bytes.NewBuffer(make([]byte, 0, min(o.Size, HeadLimit)+bytes.MinRead))
	_, err := b.ReadFrom(io.LimitReader(r, HeadLimit))
	return b.Bytes(), err
}

// Header hands over the beginning of the file: all of a file on disk, of which
// only what is asked for is read, and of another one the first HeadLimit bytes.
// Nothing is hashed.
func (o Object) Header(ctx context.Context, take func(r io.ReaderAt, size int64) error) error {
	r, err := o.open()
	if err != nil {
		return errors.New(ReasonOf(err))
	}
	defer r.Close()
	if file, ok := r.(*os.File); ok {
		if info, err := file.Stat(); err == nil && info.Mode().IsRegular() {
			return take(file, info.Size())
		}
	}
	head, err := o.head(&cancelled{ctx, r})
	if err != nil {
		return readError(ctx, err)
	}
	return take(bytes.NewReader(head), max(o.Size, int64(len(head))))
}

// ReadAll reads a file whole that turned out to need it; a larger one than
// WholeLimit is an error before any of it is read.
func (o Object) ReadAll(ctx context.Context) ([]byte, error) {
	tooLarge := fmt.Errorf("larger than %d MiB, which no report needs", WholeLimit>>20)
	if o.Size > WholeLimit {
		return nil, tooLarge
	}
	r, err := o.open()
	if err != nil {
		return nil, errors.New(ReasonOf(err))
	}
	defer r.Close()
	all, err := io.ReadAll(io.LimitReader(&cancelled{ctx, r}, WholeLimit+1))
	if err != nil {
		return nil, readError(ctx, err)
	}
	if len(all) > WholeLimit {
		return nil, tooLarge
	}
	return all, nil
}

func readError(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return errors.New(ReasonOf(err))
}

// Claimed reports whether someone says this is DICOM: the user by naming it,
// or the file by its extension. Such a file is refused rather than ignored
// when it is not.
func (o Object) Claimed() bool {
	switch strings.ToLower(path.Ext(o.Path)) {
	case ".dcm", ".dicom", ".dic", ".sr":
		return true
	}
	return o.given
}

// LooksLikeDICOM tells DICOM from what is certainly something else: the prefix
// of PS3.10 7.1, or a data set without preamble that begins in group 0002 or
// 0008 with a short element number, in either byte order.
func LooksLikeDICOM(head []byte) bool {
	if len(head) >= 132 && string(head[128:132]) == "DICM" {
		return true
	}
	if len(head) >= 138 && string(head[132:136]) == "\x02\x00\x00\x00" && string(head[136:138]) == "UL" {
		return true // a meta header behind a damaged prefix
	}
	if len(head) < 8 {
		return false
	}
	for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		group, element := order.Uint16(head), order.Uint16(head[2:])
		if (group == 2 || group == 8) && element <= 0x0120 {
			return true
		}
	}
	return false
}

// cancelled ends a read when the context ends.
type cancelled struct {
	ctx context.Context
	r   io.Reader
}

func (c *cancelled) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}
