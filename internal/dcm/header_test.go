package dcm_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
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
		allocated := leastAllocatedBy(func() {
			file.bytes = 0
			f, err = dcm.ReadHeader(file, size)
		})
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

// The identity is that of the whole file, whatever the form, and of a large one
// only the start is read.
func TestIdentify(t *testing.T) {
	want := dcm.Identity{SOPClassUID: "1.2.840.10008.5.1.4.1.1.88.33", SOPInstanceUID: "2.25.1", StudyInstanceUID: "2.25.2", Modality: "SR", StudyDate: "20261004"}
	report := smallReport()
	report.Add(dcm.Strings(dcm.T(0x00080020), want.StudyDate))
	for name, how := range forms() {
		file := dcmtest.Encode(report, how)
		got, err := dcm.Identify(bytes.NewReader(file), int64(len(file)))
		if err != nil || got != want || !got.Report() {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
		whole, err := dcm.ReadBytes(file)
		if err != nil || whole.Identity() != want {
			t.Errorf("%s read whole: %+v, %v", name, whole.Identity(), err)
		}
	}
	const size = 500 << 20
	private := short(0x00090010, "LO", "MAKER ") + long(0x00091001, "OB", 100<<20, "")
	start := part10(dcm.ExplicitVRLittleEndian, imageStart+short(0x00080060, "CS", "US")+private)
	file := sparseFile(t, start, size)
	if _, err := file.WriteAt([]byte(short(0x00280010, "US", "\x00\x02")+long(0x7FE00010, "OB", 300<<20, "")), int64(len(start))+100<<20); err != nil {
		t.Fatal(err)
	}
	counted := &countingAt{ReaderAt: file}
	var got dcm.Identity
	var err error
	allocated := leastAllocatedBy(func() {
		counted.bytes = 0
		got, err = dcm.Identify(counted, size)
	})
	if err != nil || !got.Image || got.Report() || got.Modality != "US" || got.SOPClassUID != "1.2.840.10008.5.1.4.1.1.6.1" {
		t.Errorf("%+v, %v", got, err)
	}
	if counted.bytes > 64<<10 || allocated > 64<<10 {
		t.Errorf("%d bytes read, %d allocated", counted.bytes, allocated)
	}
}

// A file that is refused before it says what it is has no identity, and an error
// of the disk is one.
func TestIdentifyRefuses(t *testing.T) {
	for _, file := range []string{"", "hello", plain(""), plain(imageStart + long(0x00090010, "OB", 1<<31, "abcd"))} {
		var refusal *dcm.Refusal
		if got, err := dcm.Identify(strings.NewReader(file), int64(len(file))); !errors.As(err, &refusal) || got != (dcm.Identity{}) {
			t.Errorf("%d bytes: %+v, %v", len(file), got, err)
		}
	}
	file := imageHeader(dcm.ExplicitVRLittleEndian, strings.Repeat(sized(0x00091001, "UN", strings.Repeat("x", 4000)), 10), 0)
	if _, err := dcm.Identify(failingAt{strings.NewReader(file)}, int64(len(file))); !errors.Is(err, errDisk) {
		t.Errorf("error %v", err)
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
