package measurand_test

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/measurand/unmatched"
	"echotally/internal/term"
	"echotally/rules"
)

// private is an unmatched measurement of an invented maker.
func private(value, meaning, unit string) echo.Measurement {
	return echo.Measurement{
		ConceptName: concept("99MAKER", value, meaning), Unit: concept("UCUM", unit, unit), ValueText: "2.9", Role: echo.Result,
		Equipment: echo.Equipment{Manufacturer: "Maker \"A\" Ultrasound"}, Section: "Tricuspid Valve",
		Modifiers: echo.Modifiers{FindingSite: modifier("SRT", "T-35100")},
	}
}

func TestTally(t *testing.T) {
	c := shipped(t)
	tr := private("TR1", "TR Vmax", "m/s")
	named := private("TR1", "TR Vmax", "m/s")
	named.Measurand = "tricuspid-regurgitation-peak-velocity"
	copied := private("TR1", "TR Vmax", "m/s")
	copied.DuplicateOf = &echo.Source{}
	input := private("TR1", "TR Vmax", "m/s")
	input.Role = echo.Input
	nested := private("TR1", "TR Vmax", "m/s")
	nested.Role = echo.NestedResult
	other := private("TR1", "TR Vmax", "m/s")
	other.Equipment.Manufacturer = "Maker B"
	mitral := private("TR1", "TR Vmax", "m/s")
	mitral.Modifiers.FindingSite = modifier("SCT", "91134007")
	view := private("TR1", "TR Vmax", "m/s")
	view.Modifiers.ImageView = modifier("SCT", "399214001")
	tally := unmatched.NewTally(c)
	tally.Add([]echo.Measurement{mitral, other, tr, named, copied, input})
	tally.Add([]echo.Measurement{view, nested})
	got := tally.Codes(2)
	if len(got) != 3 || got[0].Count != 3 || got[1].Count != 1 || got[2].Count != 1 {
		t.Fatalf("got %+v", got)
	}
	if got[0].Example.Modifiers.ImageView != nil {
		t.Error("the example is not the first one met")
	}
	if len(got[0].Suggestions) == 0 || len(got[0].Suggestions) > 2 || got[0].Suggestions[0].Measurand.Identifier != "tricuspid-regurgitation-peak-velocity" {
		t.Errorf("suggestions %v", identifiers(got[0].Suggestions))
	}
	if len(unmatched.NewTally(c).Codes(2)) != 0 {
		t.Error("an empty tally has codes")
	}
}

var choice = regexp.MustCompile(`(?m)^# - `)

// A draft does nothing as it is; with the first proposal of each code chosen it
// loads, and names what it was made from.
func TestDraftSite(t *testing.T) {
	c := shipped(t)
	tr := private("TR1", "TR Vmax", "m/s")
	adHoc := echo.Measurement{
		ConceptName: concept("SCT", "410668003", "Length"), ShortLabel: "TAPSE", AdHoc: true, Role: echo.Result, Unit: concept("UCUM", "mm", "mm"),
	}
	odd := private("v:1 \u00e9\n", "meaning\nwith a line end - {identifier: x}", "ms")
	odd.Modifiers.FindingSite = modifier("99MAKER", "site9")
	unnamed := private("", "", "m/s")
	stranger := private("zz", "Blorp quux", "cm")
	var list []echo.Measurement
	tally := unmatched.NewTally(c)
	list = append(list, tr, adHoc, odd, unnamed, stranger)
	tally.Add(list)
	var b bytes.Buffer
	if err := unmatched.DraftSite(c, &b, tally.Codes(3)); err != nil {
		t.Fatal(err)
	}
	draft := b.String()
	t.Log(draft)
	for _, line := range strings.Split(strings.TrimSpace(draft), "\n") {
		if line != "" && !strings.HasPrefix(line, "#") {
			t.Errorf("not a comment: %s", line)
		}
	}
	for _, want := range []string{"no code value or no scheme", "has no term", "WRITE-IT-HERE", "for example 2.9 m/s", `made by Maker "A" Ultrasound`} {
		if !strings.Contains(draft, want) {
			t.Errorf("draft does not say %q", want)
		}
	}
	if _, err := loadWithSite(t, draft); err != nil {
		t.Errorf("untouched draft: %v", err)
	}
	chosen := chooseFirst(draft)
	site, err := loadWithSite(t, chosen)
	if err != nil {
		t.Fatalf("%v\n%s", err, chosen)
	}
	for i, want := range []string{"tricuspid-regurgitation-peak-velocity", "tricuspid-annular-plane-systolic-excursion"} {
		if d := site.Name(&list[i]); d == nil || d.Identifier != want {
			t.Errorf("%v is %v, want %s", list[i].ConceptName, d, want)
		}
	}
	elsewhere := tr
	elsewhere.Equipment.Manufacturer = "Maker B"
	if d := site.Name(&elsewhere); d != nil {
		t.Errorf("the same private code of another maker is %s", d.Identifier)
	}
}

// chooseFirst keeps the first proposal of each code, as a person would.
func chooseFirst(draft string) string {
	blocks := strings.Split(draft, "\n\n")
	for i, block := range blocks {
		if at := choice.FindStringIndex(block); at != nil && !strings.Contains(block, "WRITE-IT-HERE") {
			blocks[i] = block[:at[0]] + "- " + block[at[1]:]
		}
	}
	return strings.Join(blocks, "\n\n")
}

func loadWithSite(t *testing.T, text string) (*measurand.Catalogue, error) {
	t.Helper()
	terms, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return measurand.Load(terms, rules.FS, fstest.MapFS{"measurand/site.yaml": {Data: []byte(text)}})
}

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, bytes.ErrTooLarge }

func TestDraftSiteWriteError(t *testing.T) {
	if err := unmatched.DraftSite(shipped(t), brokenPipe{}, nil); err == nil || !strings.Contains(err.Error(), "draft of a site file") {
		t.Errorf("got %v", err)
	}
}
