package ultrasound_test

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/echo"
	"echotally/internal/srtest"
	"echotally/internal/ultrasound"
)

// base is a loop header with the given regions.
func base(regions ...dcm.Dataset) dcm.Dataset {
	d := dcm.New(
		dcm.Strings(dcm.T(0x00080008), "ORIGINAL", "PRIMARY", "", "0019"),
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.6.1"), dcm.Strings(dcm.T(0x00080018), "2.25.7"),
		dcm.Strings(dcm.T(0x00080060), "US"), dcm.Strings(dcm.T(0x00080023), "20260302"), dcm.Strings(dcm.T(0x00080033), "101112.5"),
		dcm.Ints(dcm.T(0x00280010), 600), dcm.Ints(dcm.T(0x00280011), 800),
	)
	if len(regions) > 0 {
		d.Add(dcm.Sequence(dcm.T(0x00186011), regions...))
	}
	return d
}

// area is one region: format, data type, rectangle, units, reference pixel,
// scale.
func area(format, data int, rectangle [4]int, units [2]int, reference []int, delta [2]float64) dcm.Dataset {
	d := dcm.New(
		dcm.Ints(dcm.T(0x00186012), format), dcm.Ints(dcm.T(0x00186014), data), dcm.Ints(dcm.T(0x00186016), 2),
		dcm.Ints(dcm.T(0x00186018), rectangle[0]), dcm.Ints(dcm.T(0x0018601A), rectangle[1]),
		dcm.Ints(dcm.T(0x0018601C), rectangle[2]), dcm.Ints(dcm.T(0x0018601E), rectangle[3]),
		dcm.Ints(dcm.T(0x00186024), units[0]), dcm.Ints(dcm.T(0x00186026), units[1]),
		dcm.Floats(dcm.T(0x0018602C), delta[0]), dcm.Floats(dcm.T(0x0018602E), delta[1]),
	)
	if reference != nil {
		d.Add(dcm.Ints(dcm.T(0x00186020), reference[0]), dcm.Ints(dcm.T(0x00186022), reference[1]))
	}
	return d
}

func picture() dcm.Dataset {
	return area(1, 1, [4]int{200, 20, 599, 219}, [2]int{3, 3}, []int{200, 0}, [2]float64{0.08, 0.08})
}

// spectrum is 4 seconds wide, 200 rows of 2 cm/s, zero line at row 150: from
// +300 cm/s down to -98 cm/s.
func spectrum(more ...dcm.Element) dcm.Dataset {
	d := area(3, 4, [4]int{0, 300, 799, 499}, [2]int{4, 7}, []int{0, 150}, [2]float64{0.005, -2})
	d.Set(more...)
	return d
}

func read(t *testing.T, d dcm.Dataset, syntax string) *echo.Image {
	t.Helper()
	b := dcmtest.Encode(d, dcmtest.Encoding{TransferSyntax: syntax})
	file, err := dcm.ReadHeader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	return ultrasound.Read(file)
}

func problems(i *echo.Image) []echo.ImageProblem {
	var out []echo.ImageProblem
	for _, d := range i.Deviations {
		out = append(out, d.Problem)
	}
	return out
}

func close(a *float64, b float64) bool { return a != nil && math.Abs(*a-b) < 1e-9 }

func TestSpectrumInEveryByteOrder(t *testing.T) {
	for _, syntax := range []string{dcm.ExplicitVRLittleEndian, dcm.ImplicitVRLittleEndian, dcm.ExplicitVRBigEndian, dcm.DeflatedExplicitVRLittleEndian} {
		i := read(t, base(picture(), spectrum()), syntax)
		if len(i.Regions) != 2 {
			t.Fatalf("%s: %d regions", syntax, len(i.Regions))
		}
		g := i.Regions[1]
		if g.Velocities == nil || *g.Velocities != (echo.Span{Low: -98, High: 300}) || !close(g.Seconds, 4) || !close(g.Baseline, 49.0/199) {
			t.Errorf("%s: %+v", syntax, g)
		}
		if !i.Is(echo.ContinuousWave) || !i.Is(echo.TwoDimensional) || !close(i.Depth, 199*0.08) {
			t.Errorf("%s: modes %v depth %v", syntax, i.Modes, i.Depth)
		}
		if i.Time.Format("20060102 150405") != "20260302 101112" {
			t.Errorf("%s: time %v", syntax, i.Time)
		}
	}
}

func TestOddities(t *testing.T) {
	hertz := area(3, 3, [4]int{0, 300, 799, 499}, [2]int{4, 5}, []int{0, 100}, [2]float64{0.005, -20})
	other := area(1, 1, [4]int{100, 20, 400, 219}, [2]int{3, 3}, []int{200, 0}, [2]float64{0.04, 0.04})
	cases := []struct {
		name    string
		d       dcm.Dataset
		want    []echo.ImageProblem
		checked func(*echo.Image) bool
	}{
		{"nothing at all", base(), []echo.ImageProblem{echo.Uncalibrated}, func(i *echo.Image) bool { return len(i.Regions) == 0 && i.Depth == nil && i.FrameRate == nil }},
		{"a region without scale", base(area(0, 0, [4]int{0, 0, 799, 599}, [2]int{0, 0}, nil, [2]float64{1, 1})), []echo.ImageProblem{echo.Uncalibrated}, nil},
		{"scale to the left", base(area(1, 1, [4]int{0, 0, 399, 299}, [2]int{3, 3}, []int{0, 0}, [2]float64{-0.05, 0.05})), []echo.ImageProblem{echo.UnusualDirection},
			func(i *echo.Image) bool { return i.Regions[0].Calibrated && close(i.Depth, 299*0.05) }},
		{"velocities growing downwards", base(area(3, 4, [4]int{0, 300, 799, 499}, [2]int{4, 7}, []int{0, 50}, [2]float64{0.005, 2})), []echo.ImageProblem{echo.UnusualDirection},
			func(i *echo.Image) bool { return *i.Regions[0].Velocities == echo.Span{Low: -100, High: 298} }},
		{"a scale of zero", base(area(3, 4, [4]int{0, 300, 799, 499}, [2]int{4, 7}, []int{0, 50}, [2]float64{0.005, 0})), []echo.ImageProblem{echo.UnusualDirection, echo.Uncalibrated},
			func(i *echo.Image) bool { return i.Regions[0].Velocities == nil && i.Regions[0].Seconds == nil }},
		{"a scale that is no number", base(area(3, 4, [4]int{0, 300, 799, 499}, [2]int{4, 7}, []int{0, 50}, [2]float64{math.NaN(), -2})), []echo.ImageProblem{echo.UnusualDirection, echo.Uncalibrated},
			func(i *echo.Image) bool { return i.Regions[0].Velocities == nil && i.Regions[0].Seconds == nil }},
		{"a spectrum without reference pixel", base(area(3, 4, [4]int{0, 300, 799, 499}, [2]int{4, 7}, nil, [2]float64{0.005, -2})), []echo.ImageProblem{echo.BaselineUnknown},
			func(i *echo.Image) bool { return i.Regions[0].Velocities == nil && close(i.Regions[0].Seconds, 4) }},
		{"zero line outside", base(area(3, 4, [4]int{0, 300, 799, 499}, [2]int{4, 7}, []int{0, 250}, [2]float64{0.005, -2})), []echo.ImageProblem{echo.BaselineUnknown},
			func(i *echo.Image) bool { return i.Regions[0].Velocities.Low == 102 }},
		{"a spectrum in hertz", base(hertz), []echo.ImageProblem{echo.FrequencyScaleOnly}, func(i *echo.Image) bool { return i.Regions[0].Velocities == nil && i.Is(echo.PulsedWave) }},
		{"units that do not fit", base(area(3, 4, [4]int{0, 300, 799, 499}, [2]int{3, 3}, []int{0, 50}, [2]float64{0.005, -2})), []echo.ImageProblem{echo.CombinationUnusual, echo.Uncalibrated},
			func(i *echo.Image) bool { return i.Regions[0].Velocities == nil }},
		{"a region beyond the image", base(area(1, 1, [4]int{0, 0, 1599, 1199}, [2]int{3, 3}, []int{0, 0}, [2]float64{0.05, 0.05})), []echo.ImageProblem{echo.RegionOutside, echo.Uncalibrated},
			func(i *echo.Image) bool { return i.Depth == nil }},
		{"a region one pixel too wide", base(area(1, 1, [4]int{0, 0, 800, 300}, [2]int{3, 3}, []int{0, 0}, [2]float64{0.05, 0.05})), []echo.ImageProblem{echo.HeaderValueUnusual},
			func(i *echo.Image) bool { return i.Regions[0].Calibrated }},
		{"a rectangle inside out", base(area(1, 1, [4]int{300, 300, 100, 100}, [2]int{3, 3}, []int{0, 0}, [2]float64{0.05, 0.05})), []echo.ImageProblem{echo.RegionOutside, echo.Uncalibrated}, nil},
		{"overlapping regions of two scales", base(picture(), other), []echo.ImageProblem{echo.RegionsConflict}, nil},
		{"overlapping regions of one scale", base(picture(), area(1, 2, [4]int{200, 20, 599, 219}, [2]int{3, 3}, []int{200, 0}, [2]float64{0.08, 0.08})), nil, nil},
		{"a depth that cannot be", base(area(1, 1, [4]int{0, 0, 319, 217}, [2]int{3, 3}, []int{0, -82}, [2]float64{0.23, 0.23})), []echo.ImageProblem{echo.HeaderValueUnusual},
			func(i *echo.Image) bool { return i.Depth == nil }},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			i := read(t, c.d, dcm.ExplicitVRLittleEndian)
			got := slices.DeleteFunc(problems(i), func(p echo.ImageProblem) bool { return p == echo.ViewMissing || p == echo.ModesContradict })
			if !slices.Equal(got, c.want) {
				t.Errorf("problems %v, want %v", got, c.want)
			}
			if c.checked != nil && !c.checked(i) {
				t.Errorf("%+v", i)
			}
		})
	}
}

func TestSample(t *testing.T) {
	with := spectrum(dcm.Ints(dcm.T(0x00186039), 30), dcm.Ints(dcm.T(0x0018603B), 100))
	retired := spectrum(dcm.Ints(dcm.T(0x00186038), 30), dcm.Ints(dcm.T(0x0018603A), 100))
	away := spectrum(dcm.Ints(dcm.T(0x00186039), 30), dcm.Ints(dcm.T(0x0018603B), 900))
	second := area(1, 1, [4]int{0, 20, 190, 219}, [2]int{3, 3}, []int{95, 0}, [2]float64{0.05, 0.05})
	for name, d := range map[string]dcm.Dataset{"present form": with, "retired form": retired} {
		if i := read(t, base(picture(), d), ""); !close(i.Regions[1].SampleDepth, math.Hypot(30, 100)*0.08) {
			t.Errorf("%s: %v", name, i.Regions[1].SampleDepth)
		}
	}
	for name, d := range map[string]dcm.Dataset{"outside the picture": base(picture(), away), "no picture": base(with), "two pictures": base(picture(), second, with)} {
		i := read(t, d, "")
		if i.Regions[len(i.Regions)-1].SampleDepth != nil || !slices.Contains(problems(i), echo.SamplePlaceUnclear) {
			t.Errorf("%s: %v", name, problems(i))
		}
	}
}

// The steering angle of a sample file confirms how a spectrum's sample position
// is read: the line from the transducer to the sample runs at that angle.
func TestSamplePositionFitsSteeringAngle(t *testing.T) {
	path := srtest.Shared(t, "samples", "us-images", "echo-38.dcm")
	i := ultrasound.Read(header(t, path))
	g := i.Regions[2]
	angle := math.Atan2(37, 91) * 180 / math.Pi // the position written in the file
	if g.SteeringAngle == nil || math.Abs(*g.SteeringAngle-angle) > 0.5 {
		t.Fatalf("steering angle %v, line %v", g.SteeringAngle, angle)
	}
	if !close(g.SampleDepth, math.Hypot(37, 91)*0.1082802563905716) {
		t.Errorf("sample depth %v", *g.SampleDepth)
	}
}

func TestColourScale(t *testing.T) {
	colour := area(1, 2, [4]int{200, 20, 599, 219}, [2]int{3, 3}, []int{200, 0}, [2]float64{0.08, 0.08})
	reckoned := dcm.New(append(slices.Clone(colour.Elements), dcm.Ints(dcm.T(0x00186030), 2000), dcm.Ints(dcm.T(0x00186032), 4000))...)
	calibrated := dcm.New(append(slices.Clone(colour.Elements), dcm.Ints(dcm.T(0x0018604C), 7), dcm.Ints(dcm.T(0x0018604E), 3), dcm.Floats(dcm.T(0x0018605A), -38, 0, 38))...)
	bar := area(5, 14, [4]int{700, 20, 720, 120}, [2]int{0, 7}, []int{0, 50}, [2]float64{0, -1.2})
	if g := read(t, base(reckoned), "").Regions[0]; !close(g.ColourScale, 77) || !g.ColourReckons { // 1540 m/s x 4 kHz / (4 x 2 MHz)
		t.Errorf("reckoned: %v", g.ColourScale)
	}
	if g := read(t, base(calibrated), "").Regions[0]; !close(g.ColourScale, 38) || g.ColourReckons {
		t.Errorf("pixel calibration: %v", g.ColourScale)
	}
	if g := read(t, base(colour, bar), "").Regions[1]; !close(g.ColourScale, 60) {
		t.Errorf("bar: %v", g.ColourScale)
	}
	if g := read(t, base(colour), "").Regions[0]; g.ColourScale != nil {
		t.Errorf("from nothing: %v", *g.ColourScale)
	}
}

func TestViewAndSpacing(t *testing.T) {
	d := base(picture())
	d.Add(dcm.Sequence(dcm.T(0x00540220), dcm.New(
		dcm.Strings(dcm.T(0x00080100), "G-A19C"), dcm.Strings(dcm.T(0x00080102), "SRT"), dcm.Strings(dcm.T(0x00080104), "Apical four chamber"),
		dcm.Sequence(dcm.T(0x00540222), dcm.New(
			dcm.Strings(dcm.T(0x00080100), "255549009"), dcm.Strings(dcm.T(0x00080102), "SCT"), dcm.Strings(dcm.T(0x00080104), "Anterior"),
		)),
	)), dcm.Strings(dcm.T(0x00280030), "1.6", "1.6"), dcm.Strings(dcm.T(0x00082120), "BASELINE"), dcm.Strings(dcm.T(0x00181088), "0"))
	i := read(t, d, "")
	if i.View == nil || i.View.Concept.Key() != (coding.Key{CodeValue: "399214001", CodingSchemeDesignator: "SCT"}) || i.View.Written.CodeValue != "G-A19C" || len(i.View.Modifiers) != 1 {
		t.Errorf("view %+v", i.View)
	}
	if want := []echo.ImageProblem{echo.HeaderValueUnusual, echo.PixelSpacingDiffers}; !slices.Equal(problems(i), want) || i.HeartRate != nil {
		t.Errorf("problems %v", problems(i))
	}
	d.Set(dcm.Strings(dcm.T(0x00280030), "0.8", "0.8"))
	if got := problems(read(t, d, "")); slices.Contains(got, echo.PixelSpacingDiffers) {
		t.Errorf("equal spacing told as different: %v", got)
	}
	d.Set(dcm.Sequence(dcm.T(0x00186011), spectrum(dcm.Floats(dcm.T(0x00186034), 30))))
	if got := read(t, d, ""); !slices.Contains(problems(got), echo.AngleCorrected) || !close(got.Regions[0].CorrectionAngle, 30) {
		t.Errorf("angle: %v", problems(got))
	}
}

func TestTiming(t *testing.T) {
	cases := []struct {
		name           string
		more           []dcm.Element
		rate, duration float64
		problem        echo.ImageProblem
	}{
		{"frame time", []dcm.Element{dcm.Strings(dcm.T(0x00181063), "20")}, 50, 0.2, ""},
		{"frame time vector from zero", []dcm.Element{dcm.Strings(dcm.T(0x00181065), strings.Split("0 25 25 25 25 25 25 25 25 25", " ")...)}, 40, 0.25, ""},
		{"cine rate only", []dcm.Element{dcm.Strings(dcm.T(0x00180040), "25")}, 25, 0.4, ""},
		{"cine rate and frame time differ", []dcm.Element{dcm.Strings(dcm.T(0x00180040), "25"), dcm.Strings(dcm.T(0x00181063), "20")}, 50, 0.2, echo.HeaderValueUnusual},
		{"display rate only", []dcm.Element{dcm.Strings(dcm.T(0x00082144), "25")}, 0, 0, echo.TimingMissing},
		{"frame time is a word", []dcm.Element{dcm.Strings(dcm.T(0x00181063), "fast")}, 0, 0, echo.HeaderValueUnusual},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := base(picture())
			d.Add(append(c.more, dcm.Strings(dcm.T(0x00280008), "10"))...)
			i := read(t, d, "")
			if c.rate == 0 && i.FrameRate != nil || c.rate > 0 && (!close(i.FrameRate, c.rate) || !close(i.Duration, c.duration)) {
				t.Errorf("rate %v, duration %v", i.FrameRate, i.Duration)
			}
			if c.problem != "" && !slices.Contains(problems(i), c.problem) {
				t.Errorf("problems %v", problems(i))
			}
		})
	}
}

// A header names nobody: what is told of an image holds no patient data.
func TestDeviationsNameNobody(t *testing.T) {
	d := base(area(1, 1, [4]int{0, 0, 1599, 1199}, [2]int{3, 3}, nil, [2]float64{1, 1}))
	d.Add(dcm.Strings(dcm.T(0x00100010), "Markername^Test"), dcm.Strings(dcm.T(0x00100020), "MARKERID"), dcm.Strings(dcm.T(0x00280008), "x"), dcm.Strings(dcm.T(0x00181063), "MARKERID"))
	for _, dev := range read(t, d, "").Deviations {
		if strings.Contains(dev.Detail, "arker") || strings.Contains(dev.Detail, "MARKER") {
			t.Errorf("%q", dev.Detail)
		}
	}
}
