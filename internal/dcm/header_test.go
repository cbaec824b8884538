package dcm_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/srtest"
)

// imageHeader is the start of an ultrasound loop up to the length of its pixel data.
func imageHeader(syntax string, before string, pixels uint32) string {
	region := short(0x00186012, "US", "\x03\x00") + short(0x00186024, "US", "\x04\x00") + short(0x0018602C, "FD", "\x00\x00\x00\x00\x00\x00\xe0\x3f")
	return part10(syntax, short(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.3.1\x00")+
		short(0x00080060, "CS", "US")+before+
		long(0x00186011, "SQ", undefined, item(undefined, region+itemEnd)+sequenceEnd)+
		short(0x00280008, "IS", "2000")+long(0x7FE00010, "OB", pixels, ""))
}

// sparseFile makes a file of the size that holds only the start.
func sparseFile(t testing.TB, start string, size int64) *os.File {
	t.Helper()
	f, err := os.Create(filepath.Join(t.TempDir(), "loop.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	if _, err := f.WriteString(start); err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(size); err != nil {
		t.Fatal(err)
	}
	return f
}

// countingAt counts what is read of a file.
type countingAt struct {
	io.ReaderAt
	bytes int64
}

func (c *countingAt) ReadAt(p []byte, offset int64) (int, error) {
	n, err := c.ReaderAt.ReadAt(p, offset)
	c.bytes += int64(n)
	return n, err
}

// The header of an image is read alone: the same few bytes and allocations
// whatever the size of the file.
func TestReadHeaderIsFlat(t *testing.T) {
	for _, size := range []int64{1 << 20, 16 << 20, 500 << 20} {
		start := imageHeader(dcm.ExplicitVRLittleEndian, "", 0)
		start = imageHeader(dcm.ExplicitVRLittleEndian, "", uint32(size)-uint32(len(start)))
		file := &countingAt{ReaderAt: sparseFile(t, start, size)}
		var f *dcm.File
		var err error
		allocated := allocatedBy(func() { f, err = dcm.ReadHeader(file, size) })
		if err != nil {
			t.Fatal(err)
		}
		regions := f.Dataset.Sequence(dcm.T(0x00186011))
		if f.State != dcm.Read || len(regions) != 1 || regions[0].Floats(dcm.T(0x0018602C))[0] != 0.5 {
			t.Errorf("%d bytes: state %s, regions %v", size, f.State, regions)
		}
		if want := int64(len(start)) - 12; f.PixelDataOffset != want {
			t.Errorf("pixel data at %d, want %d", f.PixelDataOffset, want)
		}
		if file.bytes > 64<<10 || allocated > 64<<10 {
			t.Errorf("%d bytes: %d read, %d allocated", size, file.bytes, allocated)
		}
	}
}

func TestReadHeaderStepsOverLongValues(t *testing.T) {
	blob := uint32(40 << 20)
	start := imageHeader(dcm.ExplicitVRLittleEndian, "", 4)
	cut := strings.Index(start, short(0x00080060, "CS", "US")) + 10
	before := start[:cut] + short(0x00090010, "LO", "MAKER ") + long(0x00091001, "OB", blob, "")
	size := int64(len(before)) + int64(blob) + int64(len(start)-cut) + 4
	file := sparseFile(t, before, size)
	if _, err := file.WriteAt([]byte(start[cut:]), int64(len(before))+int64(blob)); err != nil {
		t.Fatal(err)
	}
	counted := &countingAt{ReaderAt: file}
	f, err := dcm.ReadHeader(counted, size)
	if err != nil {
		t.Fatal(err)
	}
	if counted.bytes > 128<<10 {
		t.Errorf("%d bytes read", counted.bytes)
	}
	if f.State != dcm.Read || len(f.Skipped) != 1 || f.Skipped[0].TagPath != "(0009,1001)" || !strings.Contains(f.Skipped[0].Reason, "41943040 bytes") {
		t.Errorf("state %s, skipped %v", f.State, f.Skipped)
	}
	if !f.Dataset.Has(dcm.T(0x00091001)) || f.Dataset.Bytes(dcm.T(0x00091001)) != nil || f.Dataset.Text(dcm.T(0x00280008)) != "2000" {
		t.Error("the elements around the long value are not read as they should be")
	}
}

func TestReadHeaderOfUnknownCompression(t *testing.T) {
	for _, syntax := range []string{"1.2.840.10008.1.2.4.202", "1.2.3.4.5"} {
		start := imageHeader(syntax, "", undefined) + item(0, "") + item(1<<20, "")
		f, err := dcm.ReadHeader(strings.NewReader(start), int64(len(start)))
		if err != nil {
			t.Fatal(err)
		}
		if f.State != dcm.Read || f.TransferSyntaxUID != syntax || f.PixelDataOffset < 0 {
			t.Errorf("%s: %+v", syntax, f)
		}
	}
}

// A header of many small elements ends at a limit, not at the end of the file.
func TestReadHeaderIsBounded(t *testing.T) {
	one := sized(0x00091001, "UN", strings.Repeat("x", 60<<10))
	file := imageHeader(dcm.ExplicitVRLittleEndian, strings.Repeat(one, 400), 0)
	if _, err := dcm.ReadHeader(strings.NewReader(file), int64(len(file))); err == nil || !strings.Contains(err.Error(), "before the pixel data") {
		t.Errorf("error %v", err)
	}
}

// failingAt fails behind an offset, as a bad disk does.
type failingAt struct{ io.ReaderAt }

var errDisk = errors.New("input/output error")

func (f failingAt) ReadAt(p []byte, offset int64) (int, error) {
	if offset > 0 {
		return 0, errDisk
	}
	return f.ReaderAt.ReadAt(p, offset)
}

func TestReadHeaderPassesReadErrors(t *testing.T) {
	file := imageHeader(dcm.ExplicitVRLittleEndian, strings.Repeat(sized(0x00091001, "UN", strings.Repeat("x", 4000)), 10), 0)
	_, err := dcm.ReadHeader(failingAt{strings.NewReader(file)}, int64(len(file)))
	var refusal *dcm.Refusal
	if !errors.Is(err, errDisk) || errors.As(err, &refusal) {
		t.Errorf("error %v", err)
	}
	if _, err := dcm.ReadHeader(strings.NewReader(file[:300]), int64(len(file))); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("a file that shrinks while it is read: %v", err)
	}
}

func TestReadFile(t *testing.T) {
	write := func(content string) string {
		path := filepath.Join(t.TempDir(), "object")
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	report := string(srtest.Encode(smallReport(), srtest.Encoding{TransferSyntax: dcm.DeflatedExplicitVRLittleEndian, CharacterSet: "ISO_IR 192"}))
	if f, err := dcm.ReadFile(write(report)); err != nil || len(f.Dataset.Sequence(dcm.T(0x0040A730))) != 2 {
		t.Errorf("report: %v", err)
	}
	if f, err := dcm.ReadFile(write(imageHeader("1.2.840.10008.1.2.4.50", "", undefined))); err != nil || f.PixelDataOffset < 0 {
		t.Errorf("image: %v", err)
	}
	var refusal *dcm.Refusal
	if _, err := dcm.ReadFile(write("hello")); !errors.As(err, &refusal) {
		t.Errorf("text file: %v", err)
	}
	huge := plain(reportStart + sized(0x0040A160, "UT", strings.Repeat("x", 16<<20)) + content)
	if _, err := dcm.ReadFile(write(huge)); !errors.As(err, &refusal) || !strings.Contains(refusal.Reason, "more than") {
		t.Errorf("report beyond the limit: %v", err)
	}
	if _, err := dcm.ReadFile(filepath.Join(t.TempDir(), "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
	if _, err := dcm.ReadFile(t.TempDir()); err == nil || errors.As(err, &refusal) {
		t.Errorf("folder: %v", err)
	}
}

func TestSOPClass(t *testing.T) {
	for name, how := range forms() {
		file := string(srtest.Encode(smallReport(), how))
		class, err := dcm.SOPClass(strings.NewReader(file), int64(len(file)))
		if err != nil || class != "1.2.840.10008.5.1.4.1.1.88.33" {
			t.Errorf("%s: %q, %v", name, class, err)
		}
	}
}

func BenchmarkReadHeader(b *testing.B) {
	for _, size := range []int64{1 << 20, 10 << 20, 100 << 20, 500 << 20} {
		b.Run(fmt.Sprintf("%dMiB", size>>20), func(b *testing.B) {
			start := imageHeader(dcm.ExplicitVRLittleEndian, "", 0)
			start = imageHeader(dcm.ExplicitVRLittleEndian, "", uint32(size)-uint32(len(start)))
			file := sparseFile(b, start, size)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := dcm.ReadHeader(file, size); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkReadBytes reads a report of 150 measurements with modifiers.
func BenchmarkReadBytes(b *testing.B) {
	report := smallReport()
	section := report.Sequence(dcm.T(0x0040A730))[0]
	var items []dcm.Dataset
	for range 75 {
		items = append(items, section.Sequence(dcm.T(0x0040A730))...)
	}
	section.Set(dcm.Sequence(dcm.T(0x0040A730), items...))
	report.Set(dcm.Sequence(dcm.T(0x0040A730), section))
	for name, how := range forms() {
		file := srtest.Encode(report, how)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(int64(len(file)))
			for b.Loop() {
				if _, err := dcm.ReadBytes(file); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
