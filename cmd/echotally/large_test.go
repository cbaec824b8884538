package main

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"hash/crc32"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/metrics"
	"strings"
	"testing"

	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
)

// largeReport is a report with a text of 250 MB, which is written to w.
func largeReport(t *testing.T, w io.Writer, noise int) (size int64) {
	t.Helper()
	const text = 250 << 20
	head := dcmtest.Encode(srtest.Report(t, marked), dcmtest.Encoding{DefinedLengths: true})
	head = binary.LittleEndian.AppendUint32(append(head, "\x40\x00\x60\xa1UT\x00\x00"...), text)
	// Some of it cannot be compressed, so that it is not the ratio that betrays it.
	random := make([]byte, noise)
	for i := range random {
		random[i] = byte(rand.IntN(256))
	}
	zeros := make([]byte, 1<<20)
	for _, piece := range [][]byte{head, random} {
		if _, err := w.Write(piece); err != nil {
			t.Fatal(err)
		}
	}
	for left := text - noise; left > 0; left -= len(zeros) {
		if _, err := w.Write(zeros[:min(left, len(zeros))]); err != nil {
			t.Fatal(err)
		}
	}
	return int64(len(head) + text)
}

// zipOfLarge packs the same large report several times.
func zipOfLarge(t *testing.T, times, noise int) []byte {
	t.Helper()
	var packed, archive bytes.Buffer
	deflate, err := flate.NewWriter(&packed, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	sum := crc32.NewIEEE()
	size := largeReport(t, io.MultiWriter(deflate, sum), noise)
	if err := deflate.Close(); err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(&archive)
	for i := range times {
		w, err := z.CreateRaw(&zip.FileHeader{Name: string(rune('a'+i)) + ".dcm", Method: zip.Deflate, CRC32: sum.Sum32(), UncompressedSize64: uint64(size), CompressedSize64: uint64(packed.Len())})
		if err == nil {
			_, err = w.Write(packed.Bytes())
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return archive.Bytes()
}

// A report of 250 MB, and an archive of a few MB that unpacks to several, are refused
// with a reason, in memory that does not grow with them.
func TestLargeReportsAreRefusedInLittleMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: some hundred MB are hashed")
	}
	dir := t.TempDir()
	one := filepath.Join(dir, "one.dcm")
	head := &bytes.Buffer{}
	size := largeReport(t, &capped{Buffer: head, most: 1 << 20}, 0)
	if err := os.WriteFile(one, head.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(one, size); err != nil { // the rest is zeros, and takes no room
		t.Fatal(err)
	}
	eight, two := filepath.Join(dir, "eight.zip"), filepath.Join(dir, "two.zip")
	for name, content := range map[string][]byte{eight: zipOfLarge(t, 8, 0), two: zipOfLarge(t, 2, 3<<19)} {
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	allocated := func() uint64 {
		sample := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
		metrics.Read(sample)
		return sample[0].Value.Uint64()
	}
	perform("read", filepath.Join(dir, "none")) // what is loaded once is not counted
	for _, c := range []struct {
		path, says string
		n          int
		commands   []string
	}{
		{one, "larger than 16 MiB", 1, []string{"read", "check", "intake"}},
		{eight, "more than 200-fold", 8, []string{"read", "check", "intake"}},
		{two, "larger than 16 MiB", 1, []string{"intake"}}, // 500 MB are hashed
	} {
		for _, command := range c.commands {
			line := []string{command, c.path}
			if command == "intake" {
				line = append(line, "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"))
			}
			before := allocated()
			output, code := perform(line...)
			used := allocated() - before
			if code != exitIncomplete || strings.Count(strings.Join(strings.Fields(output), " "), c.says) < c.n {
				t.Errorf("%s %s: exit code %d\n%.600s", line[0], filepath.Base(c.path), code, output)
			}
			if used > 160<<20 {
				t.Errorf("%s %s: %d MiB allocated", line[0], filepath.Base(c.path), used>>20)
			}
			t.Logf("%s %s: %d MiB allocated in all", line[0], filepath.Base(c.path), used>>20)
		}
	}
	if output, code := perform("dump", one); code != exitFailure || !strings.Contains(output, "larger than 16 MiB") {
		t.Errorf("dump: exit code %d, %.300s", code, output)
	}
}

// capped keeps the beginning of what is written to it.
type capped struct {
	*bytes.Buffer
	most int
}

func (c *capped) Write(p []byte) (int, error) {
	c.Buffer.Write(p[:min(len(p), max(0, c.most-c.Len()))])
	return len(p), nil
}
