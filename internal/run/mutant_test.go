package run

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/demo/casebook"
	"echotally/internal/intake"
)

var (
	valueType, contentSequence = dcm.T(0x0040A040), dcm.T(0x0040A730)
	measuredValue, numeric     = dcm.T(0x0040A300), dcm.T(0x0040A30A)
)

// mutant is a report with a fault put into it.
type mutant struct {
	kind string
	file []byte
	same bool // a lenient reader can read all of it, so all of it is to be read or called lost
}

// mutants makes reports with faults of every kind from one.
func mutants(report dcm.Dataset, random *rand.Rand) []mutant {
	var out []mutant
	whole := dcmtest.Encode(report, dcmtest.Encoding{DefinedLengths: true})
	changed := func(kind string, change func(*dcm.Dataset)) {
		for _, defined := range []bool{false, true} {
			d := copied(report)
			change(&d)
			out = append(out, mutant{kind: kind, file: dcmtest.Encode(d, dcmtest.Encoding{DefinedLengths: defined}), same: true})
		}
	}
	for range 8 {
		changed("children of a by-reference item", func(d *dcm.Dataset) {
			if at := container(d, random); at != nil {
				at.Remove(valueType)
				at.Set(dcm.Ints(dcm.T(0x0040DB73), 1, 1))
			}
		})
		changed("content sequence twice", func(d *dcm.Dataset) {
			at := container(d, random)
			children := at.Sequence(contentSequence)
			half := len(children) / 2
			at.Set(dcm.Sequence(contentSequence, children[:half]...))
			at.Add(dcm.Sequence(contentSequence, children[half:]...))
		})
		changed("explicit content in UN", func(d *dcm.Dataset) { inBytes(container(d, random), "UN", "") })
		changed("implicit content in UN", func(d *dcm.Dataset) { inBytes(container(d, random), "UN", dcm.ImplicitVRLittleEndian) })
		changed("content as OB", func(d *dcm.Dataset) { inBytes(container(d, random), "OB", "") })
		changed("content under another tag", func(d *dcm.Dataset) {
			if at := container(d, random); at != nil {
				children := at.Sequence(contentSequence)
				at.Remove(contentSequence)
				at.Add(dcm.Private(dcm.T(0x0040A731), "SQ", children))
			}
		})
		changed("numeric value as a binary number", func(d *dcm.Dataset) {
			if m := measured(d, random); m != nil {
				vr := []string{"FD", "FL"}[random.IntN(2)]
				m.Set(dcm.Private(numeric, vr, []float64{random.Float64()}))
			}
		})
		changed("numeric value as an integer", func(d *dcm.Dataset) {
			if m := measured(d, random); m != nil {
				m.Set(dcm.Private(numeric, []string{"SL", "UL", "SS", "US"}[random.IntN(4)], []int{random.IntN(100)}))
			}
		})
		changed("value type that is none", func(d *dcm.Dataset) {
			if n := number(d, random); n != nil {
				n.Set(dcm.Strings(valueType, "NUN"))
			}
		})
		changed("value type of another", func(d *dcm.Dataset) {
			if n := number(d, random); n != nil {
				n.Set(dcm.Strings(valueType, []string{"TEXT", "CODE", "CONTAINER", "IMAGE"}[random.IntN(4)]))
			}
		})
	}
	for _, uid := range []uint32{0x0020000D, 0x0020000E, 0x00080018, 0x00080016} {
		changed("UID removed", func(d *dcm.Dataset) { d.Remove(dcm.T(uid)) })
		changed("UID of other characters", func(d *dcm.Dataset) { d.Set(dcm.Private(dcm.T(uid), "UI", []string{"1.2\n3\x1b[2J"})) })
	}
	class := bytes.LastIndex(whole[:1000], []byte("1.2.840.10008.5.1.4.1.1.88."))
	for bit := range 29 * 8 {
		flipped := bytes.Clone(whole)
		flipped[class+bit/8] ^= 1 << (bit % 8)
		out = append(out, mutant{kind: fmt.Sprintf("class, bit %d flipped", bit), file: flipped})
	}
	for range 250 {
		flipped := bytes.Clone(whole)
		bit := random.IntN(len(flipped) * 8)
		flipped[bit/8] ^= 1 << (bit % 8)
		out = append(out, mutant{kind: fmt.Sprintf("bit %d of byte %d flipped", bit%8, bit/8), file: flipped})
	}
	for range 150 { // the VR of an element for another whose length is written alike
		swapped := bytes.Clone(whole)
		at := vrs(swapped)
		i := at[random.IntN(len(at))]
		alike := []string{"AE", "AS", "AT", "CS", "DA", "DS", "DT", "FD", "FL", "IS", "LO", "LT", "PN", "SH", "SL", "SS", "ST", "TM", "UI", "UL", "US"}
		if swapped[i+2] == 0 && swapped[i+3] == 0 {
			alike = []string{"OB", "OD", "OF", "OL", "OW", "SQ", "UC", "UN", "UR", "UT"}
		}
		vr := alike[random.IntN(len(alike))]
		copy(swapped[i:], vr)
		out = append(out, mutant{kind: fmt.Sprintf("VR at byte %d now %s", i, vr), file: swapped})
	}
	for range 50 {
		out = append(out, mutant{kind: "cut", file: whole[:random.IntN(len(whole))]})
	}
	return out
}

// copied copies a data set with its sequences, so that a change leaves the other.
func copied(d dcm.Dataset) dcm.Dataset {
	out := dcm.New()
	for i := range d.Elements {
		e := d.Elements[i]
		if list, ok := e.Value().([]dcm.Dataset); ok {
			items := make([]dcm.Dataset, len(list))
			for j := range list {
				items[j] = copied(list[j])
			}
			e = dcm.Private(e.Tag, e.VR(), items)
		}
		out.Add(e)
	}
	return out
}

// every lists the items that hold true of, depth first.
func every(d *dcm.Dataset, holds func(*dcm.Dataset) bool) []*dcm.Dataset {
	var out []*dcm.Dataset
	children := d.Sequence(contentSequence)
	for i := range children {
		if holds(&children[i]) {
			out = append(out, &children[i])
		}
		out = append(out, every(&children[i], holds)...)
	}
	return out
}

// container is one of the items that have others below them.
func container(d *dcm.Dataset, random *rand.Rand) *dcm.Dataset {
	all := every(d, func(d *dcm.Dataset) bool { return len(d.Sequence(contentSequence)) > 1 })
	return all[random.IntN(len(all))]
}

func number(d *dcm.Dataset, random *rand.Rand) *dcm.Dataset {
	all := every(d, func(d *dcm.Dataset) bool { return len(d.Sequence(measuredValue)) == 1 })
	return all[random.IntN(len(all))]
}

func measured(d *dcm.Dataset, random *rand.Rand) *dcm.Dataset {
	return &number(d, random).Sequence(measuredValue)[0]
}

// inBytes puts the content below an item into bytes under another VR.
func inBytes(at *dcm.Dataset, vr, syntax string) {
	only := dcm.New(dcm.Sequence(contentSequence, at.Sequence(contentSequence)...))
	b := dcmtest.Encode(only, dcmtest.Encoding{TransferSyntax: syntax, NoMeta: true, DefinedLengths: true})
	header := 12
	if syntax != "" {
		header = 8
	}
	at.Set(dcm.Private(contentSequence, vr, b[header:]))
}

// vrs finds where VRs of group 0008 and 0040 may stand.
func vrs(b []byte) []int {
	var out []int
	for i := 0; i+8 < len(b); i++ {
		known := (b[i] == 0x08 || b[i] == 0x40) && b[i+1] == 0
		if vr := b[i+4 : i+6]; known && vr[0] >= 'A' && vr[0] <= 'Z' && vr[1] >= 'A' && vr[1] <= 'Z' {
			out = append(out, i+4)
		}
	}
	return out
}

// reports are some of the demo lab's, each of another scanner.
func reports(n int) []dcm.Dataset {
	var out []dcm.Dataset
	seen := map[string]bool{}
	for _, c := range casebook.Studies(casebook.Options{Seed: 5, Studies: 20}) {
		o := c.Objects[0]
		if o.Raw != nil || o.Keep > 0 || seen[c.Truth.Dialect] || !o.Dataset.Has(contentSequence) || len(out) == n {
			continue
		}
		seen[c.Truth.Dialect] = true
		out = append(out, o.Dataset)
	}
	return out
}

// Whatever is damaged or written against the standard: the NUM items that are read
// are those that were written and those that pydicom reads, or the object is called
// partial or refused.
func TestNoMeasurementIsLostInSilence(t *testing.T) {
	r, ctx, dir := reader(t), context.Background(), t.TempDir()
	type result struct {
		kind, state string
		n           int
	}
	results, paths := map[string]result{}, []string{}
	all, loud := 0, 0
	for i, report := range reports(3) {
		random := rand.New(rand.NewPCG(uint64(i), 1))
		written := len(every(&report, func(d *dcm.Dataset) bool { return d.Text(valueType) == "NUM" }))
		for j, m := range mutants(report, random) {
			path := filepath.Join(dir, fmt.Sprintf("%d-%d.dcm", i, j))
			if err := os.WriteFile(path, m.file, 0o644); err != nil {
				t.Fatal(err)
			}
			batch, err := intake.Find(ctx, []string{path}, nil, zerolog.Nop())
			if err != nil {
				t.Fatal(err)
			}
			one := r.read(ctx, &batch.Objects[0])
			n := 0
			if one.document != nil {
				n = one.document.Numbers
			}
			all++
			if one.object.State == Refused || one.object.State == Partial {
				loud++
				continue
			}
			if n != written {
				t.Errorf("%s: %s with %d NUM items, %d were written", m.kind, one.object.State, n, written)
			}
			results[path] = result{m.kind, string(one.object.State), n}
			paths = append(paths, path)
		}
	}
	t.Logf("%d mutants, %d of them partial or refused", all, loud)
	if all < 1500 || loud < all/4 || loud > all*3/4 {
		t.Errorf("%d mutants, %d partial or refused: the kinds do not reach both sides", all, loud)
	}
	t.Run("pydicom", func(t *testing.T) {
		random := rand.New(rand.NewPCG(1, 1))
		random.Shuffle(len(paths), func(i, j int) { paths[i], paths[j] = paths[j], paths[i] })
		// It reads slowly: some of every kind. What else it makes of damage, such as no NUM
		// item of an item whose value type is damaged, is no loss of ours.
		var some []string
		of := map[string]int{}
		for _, path := range paths {
			kind := results[path].kind
			if at := strings.IndexAny(kind, "0123456789"); at > 0 {
				kind = kind[:at]
			}
			if of[kind]++; of[kind] <= 5 {
				some = append(some, path)
			}
		}
		t.Logf("%d compared of %v", len(some), of)
		if len(of) < 8 {
			t.Errorf("only %d kinds are read whole", len(of))
		}
		for path, n := range pydicomCounts(t, some) {
			if was := results[path]; n > was.n {
				t.Errorf("%s: %s with %d NUM items, pydicom reads %d", was.kind, was.state, was.n, n)
			}
		}
	})
}

// pydicomCounts counts the NUM items of files as pydicom reads them; a file that it
// cannot read is left out.
func pydicomCounts(t *testing.T, paths []string) map[string]int {
	t.Helper()
	python := "/usr/bin/python3"
	if exec.Command(python, "-c", "import pydicom").Run() != nil {
		t.Skip("python3 with pydicom is not installed (Debian package python3-pydicom): the mutants are compared with what was written only")
	}
	out := map[string]int{}
	for chunk := range slices.Chunk(paths, 500) {
		command := exec.Command(python, append([]string{"-W", "ignore", "../extract/testdata/num_items.py"}, chunk...)...)
		lines, err := command.Output()
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(lines)) {
			var read struct {
				File, Error string
				Items       []struct{ Item string }
			}
			if err := json.Unmarshal([]byte(line), &read); err != nil {
				t.Fatal(err)
			}
			if read.Error == "" {
				out[read.File] = len(read.Items)
			}
		}
	}
	return out
}
