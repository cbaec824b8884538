package intake

import (
	"archive/zip"
	"bytes"
	"context"
	"io"
	"strings"
	"testing"

	"echotally/internal/mutate"
)

func archiveSeeds(t testing.TB) [][]byte {
	pack := func(method uint16, names ...string) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for i, name := range names {
			w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method})
			if err == nil && !strings.HasSuffix(name, "/") {
				_, err = w.Write(bytes.Repeat([]byte("DICM"), i*20))
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	return [][]byte{
		pack(zip.Deflate, "a.dcm", "b/", "b/c.dcm", "b/.hidden"), pack(zip.Store, "a.dcm", "a.dcm", "x\\y.dcm", "inner.zip"), pack(zip.Store), pack(zip.Deflate, "DICOMDIR", "1"),
	}
}

// checkArchive: an archive of any bytes is refused as one object with a reason, or each
// of its entries is one object, which is read within what it says to hold or has a reason.
func checkArchive(t *testing.T, b []byte) string {
	f := &finder{ctx: context.Background(), seen: map[string]bool{}}
	if err := f.archive("a.zip", bytes.NewReader(b), nil, int64(len(b))); err != nil {
		t.Fatal(err)
	}
	listed := 0
	if z, err := zip.NewReader(bytes.NewReader(b), int64(len(b))); err == nil {
		for _, e := range z.File {
			if name := strings.ReplaceAll(e.Name, `\`, "/"); !strings.HasSuffix(name, "/") || e.UncompressedSize64 > 0 {
				listed++
			}
		}
	}
	objects := f.batch.Objects
	refused := len(objects) == 1 && objects[0].Path == "a.zip" && objects[0].Unreadable && objects[0].Reason != ""
	if !refused && len(objects) != listed {
		t.Fatalf("%d objects of %d entries", len(objects), listed)
	}
	came := "opened"
	for _, o := range objects {
		if o.Reason != "" {
			came += o.Reason
			continue
		}
		r, err := o.open()
		if err != nil {
			came += err.Error()
			continue
		}
		n, err := io.Copy(io.Discard, r)
		if n > max(o.Size, 0) && err == nil || n > o.Size+1<<20 {
			t.Fatalf("%d bytes of an entry of %d, %v", n, o.Size, err)
		}
		if err != nil {
			came += err.Error()
		}
		r.Close()
	}
	return came
}

func FuzzArchive(f *testing.F) {
	for _, seed := range archiveSeeds(f) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkArchive(t, b) })
}

func TestMutationsOfArchives(t *testing.T) {
	tokens := []string{"PK\x01\x02", "PK\x03\x04", "PK\x05\x06", "PK\x06\x06", "PK\x06\x07", "PK\x07\x08", "\x01\x00\x1c\x00", "../", "\\", "\xff\xff\xff\xff", "\xff\xff", "\x00\x00", "\x08\x00"}
	mutate.Run(t, mutate.Source{Seeds: archiveSeeds(t), Tokens: tokens, Target: "FuzzArchive"}, checkArchive)
}
