package link_test

import (
	"testing"
	"time"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/term"
	"echotally/internal/ucum"
	"echotally/internal/ultrasound/link"
	"echotally/rules"
)

func terms(t *testing.T) *term.Catalogue {
	t.Helper()
	c, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func modifier(value string) *echo.Modifier {
	return &echo.Modifier{Concept: coding.CodedConcept{CodeValue: value, CodingSchemeDesignator: "SCT"}}
}

// Codes used below: modes, views and structures of terms.yaml.
const (
	cw                = "261198000"
	a4c, psax, inflow = "399214001", "399239005", "443082005"
	tricuspid, mitral = "46030003", "91134007"
)

func cmPerS(t *testing.T) *ucum.Quantity {
	t.Helper()
	unit, err := ucum.Parse("cm/s")
	if err != nil {
		t.Fatal(err)
	}
	d, _, err := ucum.ParseDecimal("280")
	if err != nil {
		t.Fatal(err)
	}
	return &ucum.Quantity{Value: d, Unit: unit}
}

func image(uid, view, site string, at int, regions ...echo.Region) *echo.Image {
	i := &echo.Image{SOPInstanceUID: uid, Regions: regions}
	if view != "" {
		i.View = &echo.ImageView{Concept: modifier(view).Concept}
	}
	if site != "" {
		i.Structures = []coding.CodedConcept{modifier(site).Concept}
	}
	if at > 0 {
		i.Time = time.Date(2026, 3, 2, 10, at, 0, 0, time.UTC)
	}
	for _, g := range regions {
		switch {
		case g.SpatialFormat == echo.Format2D:
			i.Modes = append(i.Modes, echo.TwoDimensional)
		case g.DataType == echo.DataCW:
			i.Modes = append(i.Modes, echo.ContinuousWave)
		case g.DataType == echo.DataPulsed:
			i.Modes = append(i.Modes, echo.PulsedWave)
		}
	}
	return i
}

var (
	pictureRegion = echo.Region{SpatialFormat: 1, DataType: 1, MinX: 0, MinY: 0, MaxX: 799, MaxY: 199, Calibrated: true, DeltaX: 0.1, DeltaY: 0.1, UnitX: 3, UnitY: 3}
	cwRegion      = echo.Region{SpatialFormat: 3, DataType: 4, MinX: 0, MinY: 200, MaxX: 799, MaxY: 599, Calibrated: true, DeltaX: 0.005, DeltaY: -2, UnitX: 4, UnitY: 7}
	pwRegion      = echo.Region{SpatialFormat: 3, DataType: 3, MinX: 0, MinY: 200, MaxX: 799, MaxY: 599, Calibrated: true, DeltaX: 0.005, DeltaY: -1, UnitX: 4, UnitY: 7}
)

func TestAttach(t *testing.T) {
	jet := echo.Measurement{Role: echo.Result, Modifiers: echo.Modifiers{ImageMode: modifier(cw)}, Quantity: cmPerS(t)}
	with := func(change func(*echo.Measurement)) echo.Measurement {
		m := jet
		change(&m)
		return m
	}
	at := func(minute, second int) time.Time { return time.Date(2026, 3, 2, 10, minute, second, 0, time.UTC) }
	both := []echo.Region{pictureRegion, cwRegion}
	scaled := func(low, high float64) echo.Region {
		g := cwRegion
		g.Velocities = &echo.Span{Low: low, High: high}
		return g
	}
	cases := []struct {
		name     string
		m        echo.Measurement
		images   []*echo.Image
		image    string // UID, "" for no link
		region   int
		inferred bool
	}{
		{"caliper on the spectrum", with(func(m *echo.Measurement) {
			m.Images = []echo.ImageReference{{SOPInstanceUID: "b", GraphicType: "POINT", GraphicData: []float64{400, 300}}}
		}), []*echo.Image{image("a", a4c, "", 1, both...), image("b", psax, "", 2, both...)}, "b", 1, false},
		{"caliper on the picture", with(func(m *echo.Measurement) {
			m.Images = []echo.ImageReference{{SOPInstanceUID: "b", GraphicData: []float64{400, 100, 420, 110}}}
		}), []*echo.Image{image("b", psax, "", 2, both...)}, "b", 0, false},
		{"caliper across two regions", with(func(m *echo.Measurement) {
			m.Images = []echo.ImageReference{{SOPInstanceUID: "b", GraphicData: []float64{400, 100, 420, 310}}}
		}), []*echo.Image{image("b", psax, "", 2, both...)}, "b", -1, false},
		{"whole image", with(func(m *echo.Measurement) { m.Images = []echo.ImageReference{{SOPInstanceUID: "b"}} }),
			[]*echo.Image{image("b", psax, "", 2, both...)}, "b", 1, false},
		{"whole image with two spectra of different scale", with(func(m *echo.Measurement) { m.Images = []echo.ImageReference{{SOPInstanceUID: "b"}} }),
			[]*echo.Image{image("b", psax, "", 2, cwRegion, pwRegion)}, "b", -1, false},
		{"reference to an image that is not there is not replaced by a guess", with(func(m *echo.Measurement) {
			m.Images, m.Modifiers.ImageView = []echo.ImageReference{{SOPInstanceUID: "z"}}, modifier(a4c)
		}), []*echo.Image{image("a", a4c, "", 1, both...)}, "", 0, false},
		{"likely by view", with(func(m *echo.Measurement) { m.Modifiers.ImageView = modifier(a4c) }),
			[]*echo.Image{image("a", a4c, "", 1, both...), image("b", psax, "", 2, both...)}, "a", 1, true},
		{"mode alone is not enough", jet, []*echo.Image{image("a", a4c, "", 1, both...)}, "", 0, false},
		{"another mode in the same view", with(func(m *echo.Measurement) { m.Modifiers.ImageView = modifier(a4c) }),
			[]*echo.Image{image("a", a4c, "", 1, pictureRegion, pwRegion)}, "", 0, false},
		{"two alike: no link", with(func(m *echo.Measurement) { m.Modifiers.ImageView = modifier(a4c) }),
			[]*echo.Image{image("a", a4c, "", 1, both...), image("b", a4c, "", 2, both...)}, "", 0, false},
		{"two alike, the nearer in time", with(func(m *echo.Measurement) { m.Modifiers.ImageView, m.ObservationDateTime = modifier(a4c), at(2, 10) }),
			[]*echo.Image{image("a", a4c, "", 1, both...), image("b", a4c, "", 2, both...)}, "b", 1, true},
		{"an hour apart", with(func(m *echo.Measurement) { m.Modifiers.ImageView, m.ObservationDateTime = modifier(a4c), at(59, 0) }),
			[]*echo.Image{image("a", a4c, "", 1, both...)}, "", 0, false},
		{"a scale that can hold no such velocity", with(func(m *echo.Measurement) { m.Modifiers.ImageView = modifier(a4c) }),
			[]*echo.Image{image("a", a4c, "", 1, scaled(-100, 39))}, "", 0, false},
		{"a scale whose end was cut off", with(func(m *echo.Measurement) { m.Modifiers.ImageView = modifier(a4c) }),
			[]*echo.Image{image("a", a4c, "", 1, scaled(-100, 40))}, "a", 0, true},
		{"the other scale can hold it", with(func(m *echo.Measurement) { m.Modifiers.ImageView = modifier(a4c) }),
			[]*echo.Image{image("a", a4c, "", 1, scaled(-10, 40)), image("b", a4c, "", 2, scaled(-400, 40))}, "b", 0, true},
		{"structure decides", with(func(m *echo.Measurement) { m.Modifiers.FindingSite = modifier(tricuspid) }),
			[]*echo.Image{image("a", "", tricuspid, 1, both...), image("b", "", mitral, 2, both...)}, "a", 1, true},
		{"the heart as a whole says nothing", with(func(m *echo.Measurement) { m.Modifiers.FindingSite = modifier(tricuspid) }),
			[]*echo.Image{image("a", "", "80891009", 1, both...)}, "", 0, false},
		{"a velocity without mode by view", with(func(m *echo.Measurement) { m.Modifiers = echo.Modifiers{ImageView: modifier(a4c)} }),
			[]*echo.Image{image("a", a4c, "", 1, both...), image("b", a4c, "", 1, pictureRegion)}, "a", 1, true},
		{"tissue velocity on a pulsed spectrum", with(func(m *echo.Measurement) {
			m.Modifiers = echo.Modifiers{ImageMode: modifier("439858009"), ImageView: modifier(a4c)}
		}), []*echo.Image{image("a", a4c, "", 1, both...), image("b", a4c, "", 1, pictureRegion, pwRegion)}, "b", 1, true},
	}
	catalogue := terms(t)
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s := &echo.Study{Measurements: []echo.Measurement{c.m}}
			link.Attach(s, c.images, catalogue)
			link := s.Measurements[0].Link
			if link == nil {
				if c.image != "" {
					t.Fatal("no link")
				}
				return
			}
			if got := s.Images[link.Image].SOPInstanceUID; got != c.image || link.Region != c.region || link.Inferred != c.inferred || link.Why == "" {
				t.Errorf("linked to %q region %d inferred %v (%s)", got, link.Region, link.Inferred, link.Why)
			}
		})
	}
}

// Images come in the order of time whatever the order of the files.
func TestAttachOrdersImages(t *testing.T) {
	a, b := image("a", inflow, "", 2), image("b", inflow, "", 1)
	b.InstanceNumber = 9
	for _, list := range [][]*echo.Image{{a, b}, {b, a}} {
		s := &echo.Study{}
		link.Attach(s, list, terms(t))
		if s.Images[0].SOPInstanceUID != "b" || s.Images[0].Number != 1 || s.Images[1].Number != 2 {
			t.Errorf("%v", s.Images)
		}
	}
}
