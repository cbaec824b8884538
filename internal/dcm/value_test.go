package dcm_test

import (
	"bytes"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
)

// Each VR comes back alike from all forms of a file.
func TestValuesInEveryForm(t *testing.T) {
	d := smallReport()
	d.Add(
		dcm.Private(dcm.T(0x00090010), "LO", []string{"MAKER"}),
		dcm.Ints(dcm.T(0x00280010), 512),                   // US
		dcm.Private(dcm.T(0x00189219), "SS", []int{-2, 3}), // SS
		dcm.Ints(dcm.T(0x00186018), 4_000_000_000),         // UL
		dcm.Ints(dcm.T(0x00186020), -7),                    // SL
		dcm.Private(dcm.T(0x00280009), "AT", []int{0x18, 0x1063}),
		dcm.Private(dcm.T(0x00720083), "UV", []int{1 << 40}),
		dcm.Private(dcm.T(0x00720082), "SV", []int{-1 << 40}),
		dcm.Floats(dcm.T(0x0018602C), 0.25, -1e300), // FD
		dcm.Floats(dcm.T(0x00700022), 0.1, 2.5),     // FL
		dcm.Private(dcm.T(0x00281204), "OW", []byte{1, 2, 3, 4}),
		dcm.Private(dcm.T(0x00660129), "OL", []byte{1, 2, 3, 4}),
		dcm.Private(dcm.T(0x7FE00001), "OV", []byte{1, 2, 3, 4, 5, 6, 7, 8}),
		dcm.Private(dcm.T(0x00420011), "OB", []byte{1, 2, 3, 4}),
		dcm.Private(dcm.T(0x00660022), "OD", []float64{0.5}),
		dcm.Private(dcm.T(0x00660016), "OF", []float64{0.1, 3}),
		dcm.Strings(dcm.T(0x00081190), "https://lab.example/x?y"),
		dcm.Strings(dcm.T(0x00080119), "long code"), // UC
	)
	for name, how := range forms() {
		t.Run(name, func(t *testing.T) {
			f, err := dcm.ReadBytes(dcmtest.Encode(d, how))
			if err != nil {
				t.Fatal(err)
			}
			for _, want := range d.Elements {
				in, out := dcm.New(want), f.Dataset
				if in.VR(want.Tag) == "SQ" || want.Tag.Group == 0x0008 && want.Tag.Element == 5 {
					continue
				}
				if !slices.Equal(in.Texts(want.Tag), out.Texts(want.Tag)) || !slices.Equal(in.Ints(want.Tag), out.Ints(want.Tag)) ||
					!slices.Equal(in.Floats(want.Tag), out.Floats(want.Tag)) || !bytes.Equal(in.Bytes(want.Tag), out.Bytes(want.Tag)) {
					t.Errorf("%s: wrote %s %v, read %s %v %v %v", want.Tag, in.VR(want.Tag), want.Value(),
						out.VR(want.Tag), out.Texts(want.Tag), out.Ints(want.Tag), out.Floats(want.Tag))
				}
			}
		})
	}
}

// The getters take whatever an element holds.
func TestAccessNeverPanics(t *testing.T) {
	tag := dcm.T(0x00280010)
	for name, e := range map[string]dcm.Element{
		"no value":        {Tag: tag},
		"unknown VR":      dcm.Private(tag, "XX", []string{"a"}),
		"text in UN":      dcm.Private(tag, "UN", []string{"a"}),
		"text in US":      dcm.Private(tag, "US", []string{"a", ""}),
		"bytes in SQ":     dcm.Private(tag, "SQ", []byte{1}),
		"items in LT":     dcm.Private(tag, "LT", []dcm.Dataset{{}, dcm.New(dcm.Element{})}),
		"no texts in UT":  dcm.Private(tag, "UT", []string{}),
		"floats in IS":    dcm.Private(tag, "IS", []float64{1}),
		"numbers in text": dcm.Private(tag, "IS", []string{"+7 ", "x", "99999999999999999999"}),
	} {
		t.Run(name, func(t *testing.T) {
			d := dcm.New(e)
			e.Value()
			d.Has(tag)
			d.VR(tag)
			d.Text(tag)
			d.Texts(tag)
			d.Floats(tag)
			d.Bytes(tag)
			for _, item := range d.Sequence(tag) {
				item.Text(tag)
			}
			if ints := d.Ints(tag); name == "numbers in text" && !slices.Equal(ints, []int64{7}) {
				t.Errorf("integers %v", ints)
			}
		})
	}
}

// What a released file is read into serves the next, and nothing of the one shows
// in the other; what was returned before stays as it is.
func TestRelease(t *testing.T) {
	read := func(how dcmtest.Encoding, d dcm.Dataset) (*dcm.File, []string) {
		f, err := dcm.ReadBytes(dcmtest.Encode(d, how))
		if err != nil {
			t.Fatal(err)
		}
		return f, contentItems(f.Dataset)
	}
	other := smallReport()
	other.Set(dcm.Sequence(dcm.T(0x0040A730), other.Sequence(dcm.T(0x0040A730))[1]), dcm.Strings(dcm.T(0x00100010), "Änder^Ung"))
	for name, how := range forms() {
		first, want := read(how, smallReport())
		patient := first.Dataset.Text(patientName)
		_, wantOther := read(how, other)
		first.Release()
		first.Release()
		if len(first.Dataset.Elements) != 0 {
			t.Errorf("%s: a released data set has elements", name)
		}
		for range 3 {
			second, got := read(how, other)
			if !slices.Equal(got, wantOther) || second.Dataset.Text(patientName) != "Änder^Ung" {
				t.Errorf("%s: %q, want %q", name, got, wantOther)
			}
			second.Release()
			third, got := read(how, smallReport())
			if !slices.Equal(got, want) || third.Dataset.Text(patientName) != patient {
				t.Errorf("%s: %q, want %q", name, got, want)
			}
			third.Release()
		}
		if patient != "Prüfung^Zwölf" {
			t.Errorf("%s: a text of a released file became %q", name, patient)
		}
	}
}

// Unlike pixels, which stay unread, an image that was written reads back.
func TestWriteImage(t *testing.T) {
	d := dcm.New(
		dcm.Bytes(dcm.T(0x7FE00010), []byte{1, 2, 3}),
		dcm.Strings(dcm.T(0x00080018), "2.25.9"),
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.6.1"),
		dcm.Ints(dcm.T(0x00280010), 1), dcm.Ints(dcm.T(0x00280011), 3),
	)
	b := encode(t, d)
	f, err := dcm.ReadHeader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	if f.State != dcm.Read || !bytes.Equal(b[f.PixelDataOffset+12:], []byte{1, 2, 3, 0}) {
		t.Errorf("state %s, pixel data at %d of %d", f.State, f.PixelDataOffset, len(b))
	}
}

// dcmtk reads what Write writes, without a warning.
func TestDcmtkReadsWhatIsWritten(t *testing.T) {
	dump, err := exec.LookPath("dcmdump")
	if err != nil {
		t.Skip("dcmdump is not installed (Debian: dcmtk): nobody else reads what is written")
	}
	path := filepath.Join(t.TempDir(), "report.dcm")
	writeFile(t, path, encode(t, smallReport()))
	out, err := exec.Command(dump, "+U8", path).CombinedOutput()
	if err != nil {
		t.Fatalf("dcmdump: %v\n%s", err, out)
	}
	for _, line := range strings.Split(string(out), "\n") {
		if strings.HasPrefix(line, "W:") || strings.HasPrefix(line, "E:") {
			t.Error(line)
		}
	}
	if !strings.Contains(string(out), "[Prüfung^Zwölf]") {
		t.Error("the name is not in dcmdump's output")
	}
}
