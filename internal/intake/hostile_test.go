package intake

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"runtime/metrics"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"
)

// What an archive calls its entries hides none of them.
func TestNoEntryIsHiddenByItsName(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, map[string][]byte{"export.zip": zipOf(t, func(z *zip.Writer) {
		entry(t, z, `.\study\report.dcm`, part10)
		entry(t, z, "twice.dcm", part10)
		entry(t, z, "twice.dcm", append(bytes.Clone(part10), 0))
		entry(t, z, `study\.hidden`, part10)
		entry(t, z, "folder\\", nil)
	})})
	want := []string{
		`export.zip!.\study\report.dcm: to read`, `export.zip!study\.hidden: hidden file`,
		"export.zip!twice.dcm: to read", "export.zip!twice.dcm (entry 2 of this name): to read",
	}
	archive := filepath.Join(dir, "export.zip")
	if diff := cmp.Diff(want, lines(t, dir, dir, archive, archive)); diff != "" {
		t.Error(diff)
	}
}

// allocated returns all that work allocates, an upper bound of what it holds.
func allocated(work func()) uint64 {
	total := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(total)
	before := total[0].Value.Uint64()
	work()
	metrics.Read(total)
	return total[0].Value.Uint64() - before
}

// overlapping is an archive whose entries all lie in the same bytes.
func overlapping(t *testing.T, n int) []byte {
	one := zipOf(t, func(z *zip.Writer) { entry(t, z, "a", make([]byte, 1<<20)) })
	start := bytes.Index(one, []byte("PK\x01\x02"))
	end := bytes.LastIndex(one, []byte("PK\x05\x06"))
	record := one[start:end]
	out := append(bytes.Clone(one[:start]), bytes.Repeat(record, n)...)
	tail := bytes.Clone(one[end:])
	binary.LittleEndian.PutUint16(tail[8:], uint16(n))
	binary.LittleEndian.PutUint16(tail[10:], uint16(n))
	binary.LittleEndian.PutUint32(tail[12:], uint32(n*len(record)))
	return append(out, tail...)
}

// empty is an archive of so many entries without content.
func empty(t *testing.T, n int) []byte {
	return zipOf(t, func(z *zip.Writer) {
		for i := range n {
			if _, err := z.CreateRaw(&zip.FileHeader{Name: fmt.Sprint(i)}); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// An archive that would starve the machine is one object that says why it is not
// opened.
func TestArchivesThatStarveAreRefused(t *testing.T) {
	for _, c := range []struct {
		name, reason string
		archive      []byte
		limit        uint64
	}{
		{"entries that overlap", "overlap", overlapping(t, 5000), 16 << 20},
		{"190,000 empty entries", "more than 100000", empty(t, 190_000), 160 << 20},
		{"a list of entries of 30 MB", "list of entries", empty(t, 500_000), 1 << 20},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			write(t, dir, map[string][]byte{"a.zip": c.archive})
			var b *Batch
			var err error
			used := allocated(func() { b, err = Find(context.Background(), []string{dir}, nil, zerolog.Nop()) })
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			if len(b.Objects) != 1 || !b.Objects[0].Unreadable || !strings.Contains(b.Objects[0].Reason, c.reason) {
				t.Errorf("%d objects, first %+v; want one refused that says %q", len(b.Objects), b.Objects[0], c.reason)
			}
			if used > c.limit {
				t.Errorf("%d MiB used, want at most %d", used>>20, c.limit>>20)
			}
			t.Logf("%d MiB used", used>>20)
		})
	}
}

// endless counts what is read of a stream that does not end.
type endless struct{ read int64 }

func (e *endless) Read(p []byte) (int, error) {
	e.read += int64(len(p))
	return len(p), nil
}

func TestStandardInputIsRefusedEarly(t *testing.T) {
	stream := &endless{}
	var err error
	used := allocated(func() { _, err = Find(context.Background(), []string{Stdin}, stream, zerolog.Nop()) })
	var refused *PathError
	if !errors.As(err, &refused) || !strings.Contains(refused.Reason, "more than 16 MiB") {
		t.Errorf("error %v, want one that says the limit", err)
	}
	if stream.read > 20<<20 || used > 128<<20 {
		t.Errorf("%d MiB read, %d MiB used", stream.read>>20, used>>20)
	}
}

func TestLargeFileIsNotReadWhole(t *testing.T) {
	opened := false
	o := Object{Path: "a.dcm", Size: 250 << 20, open: func() (io.ReadCloser, error) { opened = true; return io.NopCloser(&endless{}), nil }}
	if _, err := o.ReadAll(context.Background()); err == nil || opened {
		t.Errorf("error %v, opened %v; want a refusal before anything is read", err, opened)
	}
	o.Size = 1 // it is larger than it said
	if _, err := o.ReadAll(context.Background()); err == nil || !strings.Contains(err.Error(), "larger than 16 MiB") {
		t.Errorf("error %v", err)
	}
}
