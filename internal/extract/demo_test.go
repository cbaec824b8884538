package extract_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/demo/casebook"
	"echotally/internal/phantom"
)

// The reports of the demo lab, as pydicom reads them: all that are damaged or written
// otherwise, and of the others every one that writes a number in a form that none before
// it had, so that each form any of them has is compared.
func TestDemoLabAgainstPydicom(t *testing.T) {
	dir, seen := t.TempDir(), map[string]bool{}
	var files []string
	all := 0
	for _, c := range casebook.Studies(casebook.Options{}) {
		for _, o := range c.Objects {
			if o.Raw == nil && o.Dataset.Text(dcm.T(0x00080060)) != "SR" {
				continue
			}
			all++
			known := len(seen)
			formsOf(o.Dataset, fmt.Sprint(c.Truth.Dialect, o.Implicit, o.Dataset.Text(dcm.T(0x00080005))), seen)
			if len(seen) == known && o.Raw == nil && o.Keep == 0 {
				continue
			}
			b, err := o.Bytes()
			if err != nil {
				t.Fatal(err)
			}
			files = append(files, filepath.Join(dir, strconv.Itoa(len(files))+".dcm"))
			if err := os.WriteFile(files[len(files)-1], b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d of %d reports with %d forms of numbers", len(files), all, len(seen))
	if len(files) < 25 || len(seen) < 250 {
		t.Errorf("%d reports with %d forms of numbers, more were to be there", len(files), len(seen))
	}
	compareAll(t, files, 2000)
}

// formsOf notes in what form each number below an item is written: where, under which
// name, in which unit, or without a value.
func formsOf(d dcm.Dataset, above string, seen map[string]bool) {
	if d.Text(phantom.TagValueType) == "NUM" {
		form := above
		for _, name := range d.Sequence(phantom.TagConceptName) {
			form += " " + name.Text(phantom.TagCodeScheme) + " " + name.Text(phantom.TagCodeValue)
		}
		for _, m := range d.Sequence(phantom.TagMeasuredValue) {
			form += fmt.Sprint(" ", m.Text(phantom.TagNumericValue) != "")
			for _, u := range m.Sequence(phantom.TagUnits) {
				form += " " + u.Text(phantom.TagCodeScheme) + " " + u.Text(phantom.TagCodeValue)
			}
		}
		seen[form] = true
	}
	for _, child := range d.Sequence(phantom.TagContent) {
		formsOf(child, above+" "+d.Text(phantom.TagValueType), seen)
	}
}
