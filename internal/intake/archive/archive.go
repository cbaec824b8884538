// Package archive owns what a zip archive holds, within bounds that no export of studies
// reaches and a crafted archive cannot pass. It knows no DICOM.
package archive

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"strings"
)

// Bounds of an archive. They are far above what an export of a day's studies
// holds and far below what a crafted archive can claim.
const (
	maxEntries   = 100_000
	maxDirectory = 16 << 20 // bytes of the list of entries, which is held in memory
	maxEntrySize = 4 << 30  // bytes, unpacked
	maxTotalSize = 64 << 30 // bytes, unpacked, all entries
	maxRatio     = 200      // unpacked to packed, judged above ratioFloor
	ratioFloor   = 16 << 20
)

// Is reports whether a file that begins so is a zip archive.
func Is(head []byte) bool {
	return bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte("PK\x05\x06"))
}

// Entry is a file in an archive.
type Entry struct {
	Name string // as written
	Size int64  // unpacked, as declared

	Reason     string // why it is not to be opened; "" when it is
	Hint       string // what the user can do about it
	Unreadable bool   // it may hold something all the same

	Open func() (io.ReadCloser, error) // nil with a reason
}

// Refusal says why a whole archive is not opened, and what the user can do about it.
type Refusal struct{ Reason, Hint string }

func (r *Refusal) Error() string { return r.Reason }

// List lists the files of a zip archive, which stays open. One that cannot be opened, or
// claims more than the bounds, is a *Refusal.
func List(r io.ReaderAt, size int64) ([]Entry, error) {
	if listed := directorySize(r, size); listed > maxDirectory {
		return nil, &Refusal{fmt.Sprintf("zip archive whose list of entries has %d bytes, more than %d", listed, maxDirectory), "unpack it and give the folder"}
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, &Refusal{"damaged zip archive: " + err.Error(), "make the archive again, or unpack it and give the folder"}
	}
	if len(z.File) > maxEntries {
		return nil, &Refusal{fmt.Sprintf("zip archive with %d entries, more than %d", len(z.File), maxEntries), "unpack it and give the folder"}
	}
	var total, packed uint64
	for _, file := range z.File {
		if packed += min(file.CompressedSize64, 1<<62); packed > uint64(size) {
			return nil, &Refusal{"zip archive whose entries overlap", "do not unpack it; make the archive again"}
		}
		total += min(file.UncompressedSize64, 1<<62)
		if total > maxTotalSize {
			return nil, &Refusal{"zip archive unpacks to more than 64 GiB", "unpack it and give the folder"}
		}
	}
	var out []Entry
	for _, file := range z.File {
		if name := slashed(file.Name); !strings.HasSuffix(name, "/") || file.UncompressedSize64 > 0 {
			out = append(out, entryOf(file))
		}
	}
	return out, nil
}

// slashed is the name of an entry with the dividers that the format asks for, which
// some programs do not write.
func slashed(name string) string { return strings.ReplaceAll(name, `\`, "/") }

// directorySize is how long the list of entries of a zip archive says it is, 0 when
// that is not found where it belongs: then there is nothing to be read by.
func directorySize(r io.ReaderAt, size int64) int64 {
	const end, longest = 22, 1<<16 + 22
	tail := make([]byte, min(size, longest))
	if n, err := r.ReadAt(tail, size-int64(len(tail))); n < len(tail) && err != nil {
		return 0
	}
	at := bytes.LastIndex(tail, []byte("PK\x05\x06"))
	if at < 0 || at+end > len(tail) {
		return 0
	}
	listed := int64(binary.LittleEndian.Uint32(tail[at+12:]))
	if listed == 1<<32-1 { // a zip64 record before it says so
		if big := bytes.LastIndex(tail[:at], []byte("PK\x06\x06")); big >= 0 && big+48 <= at {
			return int64(min(binary.LittleEndian.Uint64(tail[big+40:]), 1<<62))
		}
	}
	return listed
}

func entryOf(entry *zip.File) Entry {
	o := Entry{Name: entry.Name, Size: int64(min(entry.UncompressedSize64, 1<<62))}
	unreadable := func(reason, hint string) Entry {
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
	o.Open = func() (io.ReadCloser, error) {
		r, err := entry.Open()
		if err != nil {
			return nil, err
		}
		return &bounded{r, declared}, nil
	}
	return o
}

func hiddenEntry(name string) bool {
	for _, part := range strings.Split(slashed(name), "/") {
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
