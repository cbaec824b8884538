package intake

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"strings"
)

// Bounds of an archive. They are far above what an export of a day's studies
// holds and far below what a crafted archive can claim.
const (
	maxEntries     = 200_000
	maxEntrySize   = 4 << 30  // bytes, unpacked
	maxTotalSize   = 64 << 30 // bytes, unpacked, all entries
	maxRatio       = 200      // unpacked to packed, judged above ratioFloor
	ratioFloor     = 16 << 20
	archiveDivider = "!"
)

func isZip(head []byte) bool {
	return bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte("PK\x05\x06"))
}

// archive lists the entries of a zip archive. One that cannot be opened, or
// claims more than the bounds, is one object set aside as unreadable.
func (f *finder) archive(path string, r io.ReaderAt, closer io.Closer, size int64) error {
	refuse := func(reason, hint string) error {
		if closer != nil {
			closer.Close()
		}
		f.add(Object{Path: path, Size: size, Unreadable: true, Reason: reason, Hint: hint})
		return nil
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return refuse("damaged zip archive: "+err.Error(), "make the archive again, or unpack it and give the folder")
	}
	if len(z.File) > maxEntries {
		return refuse(fmt.Sprintf("zip archive with %d entries, more than %d", len(z.File), maxEntries), "unpack it and give the folder")
	}
	var total uint64
	for _, entry := range z.File {
		total += min(entry.UncompressedSize64, 1<<62)
		if total > maxTotalSize {
			return refuse("zip archive unpacks to more than 64 GiB", "unpack it and give the folder")
		}
	}
	if closer != nil {
		f.batch.closers = append(f.batch.closers, closer)
	}
	for _, entry := range z.File {
		if err := f.ctx.Err(); err != nil {
			return err
		}
		if !strings.HasSuffix(entry.Name, "/") {
			f.add(entryObject(path, entry))
		}
	}
	return nil
}

func entryObject(archive string, entry *zip.File) Object {
	o := Object{Path: archive + archiveDivider + entry.Name, Size: int64(min(entry.UncompressedSize64, 1<<62))}
	unreadable := func(reason, hint string) Object {
		o.Unreadable, o.Reason, o.Hint = true, reason, hint
		return o
	}
	switch packed := max(entry.CompressedSize64, 1); {
	case hiddenEntry(entry.Name):
		o.Reason = "hidden file"
		return o
	case !entry.Mode().IsRegular():
		o.Reason = "not a regular file"
		return o
	case entry.Flags&1 != 0:
		return unreadable("encrypted entry of a zip archive", "unpack it with its password and give the folder")
	case entry.UncompressedSize64 > maxEntrySize:
		return unreadable("entry of a zip archive larger than 4 GiB", "unpack it and give the folder")
	case entry.UncompressedSize64 > ratioFloor && entry.UncompressedSize64/packed > maxRatio:
		return unreadable(fmt.Sprintf("entry of a zip archive unpacks more than %d-fold", maxRatio), "unpack it and give the folder if you trust it")
	case strings.HasSuffix(strings.ToLower(entry.Name), ".zip"):
		return unreadable("archive inside an archive, not opened", "unpack the outer archive first")
	}
	declared := int64(entry.UncompressedSize64)
	o.open = func() (io.ReadCloser, error) {
		r, err := entry.Open()
		if err != nil {
			return nil, err
		}
		return &bounded{r, declared}, nil
	}
	return named(o)
}

func hiddenEntry(name string) bool {
	for _, part := range strings.Split(name, "/") {
		if strings.HasPrefix(part, ".") && part != "." && part != ".." || part == "__MACOSX" {
			return true
		}
	}
	return false
}

// bounded stops an entry that unpacks to more than it declares.
type bounded struct {
	io.ReadCloser
	left int64
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if b.left -= int64(n); b.left < 0 {
		return 0, fmt.Errorf("entry unpacks to more than it declares")
	}
	return n, err
}
