package phantom

import (
	"math/rand/v2"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/extract"
	"echotally/internal/measurand"
	"echotally/internal/srtest"
	vocabulary "echotally/internal/term"
	"echotally/rules"
)

// TestEveryReadingIsNamedAsMeant writes every profile in every dialect, reads
// it back and compares the name of each measurement with what was measured.
// Only the modern maker's own codes go without a name.
func TestEveryReadingIsNamedAsMeant(t *testing.T) {
	names, err := vocabulary.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	catalogue, err := measurand.Load(names, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range Dialects() {
		for _, p := range Profiles {
			if p.Extent == Pediatric && d.Name != "petrelline" {
				continue
			}
			t.Run(d.Name+"/"+p.Name, func(t *testing.T) {
				random := rand.New(rand.NewPCG(9, 9))
				s := NewSubject(p, random)
				c := Measure(p, s, NewCirculation(p, s, random), random)
				root := d.Write(d, c)
				want := root.numbers(nil)
				got := readBack(t, d.Document(c, Header{Study: "2.25.1", Series: "2.25.2", Instance: "2.25.3", Completion: "COMPLETE", Time: "1015"}, root), catalogue)
				if len(got) != len(want) {
					t.Fatalf("read %d measurements, %d were written", len(got), len(want))
				}
				for i, m := range got {
					if want[i].measurand != "" && m != want[i].measurand {
						t.Errorf("%s is named %q", want[i].measurand, m)
					}
					if own := want[i].name.scheme == privateScheme; own != (m == "") {
						t.Errorf("%s %s is named %q", want[i].name.value, want[i].name.meaning, m)
					}
				}
			})
		}
	}
}

// numbers lists the NUM items in document order.
func (i Item) numbers(list []Item) []Item {
	if i.valueType == "NUM" {
		list = append(list, i)
	}
	for _, child := range i.children {
		list = child.numbers(list)
	}
	return list
}

func readBack(t *testing.T, d dcm.Dataset, catalogue *measurand.Catalogue) []string {
	t.Helper()
	var names []string
	for _, m := range extract.Measurements(srtest.Reread(t, d), extract.Catalogues{Measurands: catalogue}) {
		names = append(names, m.Measurand)
	}
	return names
}
