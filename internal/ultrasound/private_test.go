package ultrasound_test

import (
	"bytes"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/ultrasound"
	"echotally/internal/ultrasound/private"
)

func mapping(text string) fstest.MapFS { return fstest.MapFS{"scanners.yaml": {Data: []byte(text)}} }

func TestPrivateSettings(t *testing.T) {
	mapped, err := private.Load(fstest.MapFS{}, mapping(`- {setting: wallFilter, creator: MAKER DOPPLER, element: "0019,xx12", unit: Hz}
- {setting: sampleGate, creator: MAKER DOPPLER, element: "0019,xx13", unit: cm}
`))
	if err != nil {
		t.Fatal(err)
	}
	creator := func(block uint32, name string) dcm.Element {
		return dcm.Private(dcm.T(0x00190000|block), "LO", []string{name})
	}
	number := func(element uint32, vr string, value any) dcm.Element {
		return dcm.Private(dcm.T(0x00190000|element), vr, value)
	}
	cases := []struct {
		name           string
		image, region  []dcm.Element
		filter, gateMM float64
	}{
		{"in the region", nil, []dcm.Element{creator(0x10, "MAKER DOPPLER"), number(0x1012, "US", []int{75}), number(0x1013, "FD", []float64{0.2})}, 75, 2},
		{"in another block", nil, []dcm.Element{creator(0x10, "OTHER"), number(0x1012, "US", []int{999}), creator(0x11, "MAKER DOPPLER"), number(0x1112, "DS", []string{"50"})}, 50, 0},
		{"in the image", []dcm.Element{creator(0x10, "MAKER DOPPLER"), number(0x1012, "US", []int{200})}, nil, 200, 0},
		{"of another maker", nil, []dcm.Element{creator(0x10, "OTHER"), number(0x1012, "US", []int{75})}, 0, 0},
		{"no number", nil, []dcm.Element{creator(0x10, "MAKER DOPPLER"), number(0x1012, "LO", []string{"low"})}, 0, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := base(spectrum(c.region...))
			d.Add(c.image...)
			b := dcmtest.Encode(d, dcmtest.Encoding{})
			file, err := dcm.ReadHeader(bytes.NewReader(b), int64(len(b)))
			if err != nil {
				t.Fatal(err)
			}
			g := ultrasound.Read(file, mapped...).Regions[0]
			if (g.WallFilter == nil) != (c.filter == 0) || c.filter > 0 && !close(g.WallFilter, c.filter) {
				t.Errorf("wall filter %v, want %v", g.WallFilter, c.filter)
			}
			if (g.SampleGate == nil) != (c.gateMM == 0) || c.gateMM > 0 && !close(g.SampleGate, c.gateMM) {
				t.Errorf("sample gate %v, want %v", g.SampleGate, c.gateMM)
			}
		})
	}
}

func TestPrivateFaults(t *testing.T) {
	for text, want := range map[string]string{
		`- {setting: wallfilter, creator: A, element: "0019,xx12", unit: Hz}`:       "unknown setting",
		`- {setting: wallFilter, creator: "", element: "0019,xx12", unit: Hz}`:      "no creator",
		`- {setting: wallFilter, creator: A, element: "0018,xx12", unit: Hz}`:       "no private element",
		`- {setting: wallFilter, creator: A, element: "0019,1012", unit: Hz}`:       "no private element",
		`- {setting: wallFilter, creator: A, element: "0019,xx12", unit: mm}`:       "is not in mm",
		`- {setting: wallFilter, creator: A, element: "0019,xx12", unit: hertzish}`: "not UCUM",
		`- {setting: wallFilter, creator: A, tag: "0019,xx12", unit: Hz}`:           "tag",
	} {
		_, err := private.Load(mapping(text + "\n"))
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "scanners.yaml:1") {
			t.Errorf("%s: %v", text, err)
		}
	}
}
