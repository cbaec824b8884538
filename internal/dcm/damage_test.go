package dcm_test

import (
	"bytes"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
)

// contentItems lists the content items below d as text, depth first, so that
// two readings can be compared.
func contentItems(d dcm.Dataset) []string {
	var list []string
	for _, item := range d.Sequence(dcm.T(0x0040A730)) {
		value := item.Text(dcm.T(0x0040A040)) + " " + item.Text(textValue)
		for _, code := range item.Sequence(dcm.T(0x0040A043)) {
			value += code.Text(dcm.T(0x00080100))
		}
		for _, measured := range item.Sequence(dcm.T(0x0040A300)) {
			value += " " + measured.Text(dcm.T(0x0040A30A))
		}
		list = append(append(list, value), contentItems(item)...)
	}
	return list
}

// A report cut at any place is refused, or partial with complete items only; a
// cut never passes for the whole report.
func TestCutReports(t *testing.T) {
	for _, name := range slices.Sorted(maps.Keys(forms())) {
		t.Run(name, func(t *testing.T) {
			file := dcmtest.Encode(smallReport(), forms()[name])
			complete, err := dcm.ReadBytes(file)
			if err != nil {
				t.Fatal(err)
			}
			all := contentItems(complete.Dataset)
			counts := map[dcm.State]int{}
			most := 0
			for n := range file {
				f, err := dcm.ReadBytes(file[:n:n])
				state, _ := outcome(t, f, err)
				counts[state]++
				switch {
				case state == dcm.Read && name == "deflated" && n == len(file)-1:
					// the pad byte behind the deflated stream
				case state == dcm.Read && len(f.Meta.Elements) == 0 && !f.Dataset.Has(dcm.T(0x00080016)):
					// cut before anything says what the object is: nobody takes it for a report
				case state == dcm.Read:
					t.Fatalf("cut at %d of %d reads as whole", n, len(file))
				case state == dcm.Partial:
					kept := contentItems(f.Dataset)
					if len(kept) == 0 || !isSubsequence(kept, all) {
						t.Fatalf("cut at %d keeps %q of %q", n, kept, all)
					}
					if len(kept) < most {
						t.Fatalf("cut at %d keeps %d items, an earlier cut kept %d", n, len(kept), most)
					}
					most = len(kept)
					if l := f.Losses[len(f.Losses)-1]; !strings.Contains(l.Reason, "content items") {
						t.Fatalf("loss does not count items: %v", l)
					}
				}
			}
			t.Logf("%d cuts: %v", len(file), counts)
		})
	}
}

// The same for reports that others wrote, cut at 200 places each.
func TestCutSamples(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(srtest.Shared(t, "samples", "sr-other"), "*.dcm"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	counts := map[dcm.State]int{}
	for _, path := range files {
		file, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		complete, err := dcm.ReadBytes(file)
		if err != nil {
			t.Fatal(err)
		}
		all := contentItems(complete.Dataset)
		for i := range 200 {
			n := len(file) * i / 200
			f, err := dcm.ReadBytes(file[:n:n])
			state, _ := outcome(t, f, err)
			counts[state]++
			if f == nil {
				continue
			}
			if kept := contentItems(f.Dataset); !isSubsequence(kept, all) || state == dcm.Read && len(kept) < len(all) {
				t.Errorf("%s cut at %d of %d: %s with %d of %d items", filepath.Base(path), n, len(file), state, len(kept), len(all))
			}
		}
	}
	t.Log(counts)
}

func isSubsequence(part, whole []string) bool {
	for _, p := range part {
		i := slices.Index(whole, p)
		if i < 0 {
			return false
		}
		whole = whole[i+1:]
	}
	return true
}

func TestLossSaysWhere(t *testing.T) {
	file := dcmtest.Encode(smallReport(), dcmtest.Encoding{CharacterSet: "ISO_IR 192"})
	at := bytes.Index(file, []byte("11726-8"))
	f, err := dcm.ReadBytes(file[:at])
	if err != nil {
		t.Fatal(err)
	}
	want := dcm.Loss{TagPath: "(0040,A730)[1]/(0040,A730)[2]/(0040,A043)[1]/(0008,0100)"}
	if len(f.Losses) != 1 || f.Losses[0].TagPath != want.TagPath {
		t.Fatalf("losses %v", f.Losses)
	}
	for _, part := range []string{"inside item 1 of the Content Sequence", "2 content items kept", "cannot be told"} {
		if !strings.Contains(f.Losses[0].Reason, part) {
			t.Errorf("reason %q does not say %q", f.Losses[0].Reason, part)
		}
	}
}

// damage changes a file in one of the ways that media and software do.
func damage(r *rand.Rand, file []byte) []byte {
	b := bytes.Clone(file)
	for range 1 + r.IntN(3) {
		if len(b) < 8 {
			return b
		}
		at := r.IntN(len(b))
		switch r.IntN(7) {
		case 0:
			b[at] ^= 1 << r.IntN(8)
		case 1:
			b[at] = byte(r.IntN(256))
		case 2:
			b = b[:at]
		case 3:
			b = slices.Delete(b, at, min(len(b), at+1+r.IntN(16)))
		case 4:
			piece := bytes.Clone(b[at:min(len(b), at+1+r.IntN(64))])
			b = slices.Insert(b, r.IntN(len(b)), piece...)
		case 5:
			copy(b[at:], [][]byte{{0xFF, 0xFF, 0xFF, 0xFF}, {0, 0, 0, 0}, {0xFF, 0xFF, 0xFF, 0x7F}, []byte(itemEnd), []byte(sequenceEnd), []byte("SQ"), []byte("UN")}[r.IntN(7)])
		case 6:
			clear(b[at:min(len(b), at+r.IntN(32))])
		}
	}
	return b
}

// 22,000 damaged reports, in every form: each is read, partial or refused with
// a reason, its text is UTF-8 and it allocates little.
func TestDamagedReports(t *testing.T) {
	const each = 2000
	counts := map[dcm.State]int{}
	var largest uint64
	for i, name := range slices.Sorted(maps.Keys(forms())) {
		file := dcmtest.Encode(smallReport(), forms()[name])
		r := rand.New(rand.NewPCG(20, uint64(i)))
		for range each {
			damaged := damage(r, file)
			var f *dcm.File
			var err error
			largest = max(largest, allocatedBy(func() { f, err = dcm.ReadBytes(damaged) }))
			state, _ := outcome(t, f, err)
			counts[state]++
			if f != nil {
				checkText(t, f.Dataset)
				f.Release() // the next file is read into what this one leaves
			}
			if t.Failed() {
				t.Fatalf("%s damaged to %x", name, damaged)
			}
		}
	}
	if largest > 4<<20 { // deflate expands by 1032 at most
		t.Errorf("one file of about 1 kB allocated %d bytes", largest)
	}
	t.Logf("%v; largest allocation %d bytes", counts, largest)
}

// checkText walks everything through the getters and looks for text that is not UTF-8.
func checkText(t testing.TB, d dcm.Dataset) {
	t.Helper()
	for i := range d.Elements {
		e := &d.Elements[i]
		e.Value()
		for _, v := range append(d.Texts(e.Tag), d.Text(e.Tag)) {
			if !utf8.ValidString(v) {
				t.Errorf("%s holds text that is not UTF-8", e.Tag)
			}
		}
		d.Ints(e.Tag)
		d.Floats(e.Tag)
		d.Bytes(e.Tag)
		d.VR(e.Tag)
		for _, item := range d.Sequence(e.Tag) {
			checkText(t, item)
		}
	}
}
