package writer

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/run"
	"echotally/internal/ucum"
)

// spectrumOf is a velocity measured on a spectrum.
func spectrumOf(t *testing.T, name, value string, low, high float64, inferred bool) finding.AcquiredSpectrum {
	t.Helper()
	unit, err := ucum.Parse("m/s")
	if err != nil {
		t.Fatal(err)
	}
	d, _, err := ucum.ParseDecimal(value)
	if err != nil {
		t.Fatal(err)
	}
	seconds := 2.4
	speed, _ := d.Rat().Float64()
	return finding.AcquiredSpectrum{
		Measurement: &echo.Measurement{
			Measurand: name, ValueText: value, Unit: coding.CodedConcept{CodeValue: "m/s"}, Canonical: &ucum.Quantity{Value: d, Unit: unit},
		},
		Image:    &echo.Image{Number: 4, View: &echo.ImageView{Concept: coding.CodedConcept{CodeValue: "1", CodeMeaning: "Apical <four> chamber"}}},
		Region:   &echo.Region{Velocities: &echo.Span{Low: low, High: high}, Seconds: &seconds},
		Velocity: 100 * speed, Inferred: inferred, Why: "same mode, view",
	}
}

func acquiredExample(t *testing.T) *acquired {
	t.Helper()
	valve := func(title string, imaged, colour, doppler finding.Seen) finding.AcquiredValve {
		return finding.AcquiredValve{Title: title + " valve", Imaged: imaged, Colour: colour, Spectrals: doppler}
	}
	a := &finding.Acquired{
		Images: 12, Unplaced: 2,
		Windows: []finding.AcquiredWindow{
			{Window: "apical", Valves: []finding.AcquiredValve{
				valve("Tricuspid", finding.SurelySeen, finding.Perhaps, finding.SurelySeen), valve("Mitral", finding.SurelySeen, finding.NotSeen, finding.NotSeen),
			}},
			{Window: "right-parasternal", Valves: []finding.AcquiredValve{valve("Tricuspid", 0, 0, 0), valve("Mitral", 0, 0, 0)}},
		},
		Spectra: []finding.AcquiredSpectrum{
			spectrumOf(t, "jet", "2.8", -400, 50, false), spectrumOf(t, "cut", "3.5", -300, 50, true), spectrumOf(t, "inflow", "0.55", -20, 80, false),
		},
	}
	return newAcquired(&sheetBuilder{study: &run.Study{Study: &echo.Study{}}, letters: map[string]string{}}, a, true)
}

// The pictures are well-formed drawings, each with a title and a description
// that says all of it in words; what the header wrote is escaped.
func TestPictureOfAcquisition(t *testing.T) {
	example := acquiredExample(t)
	drawing := string(example.Drawing)
	for _, l := range example.Spectra {
		drawing += string(l.Drawing)
	}
	counted := map[string]int{}
	words := map[string]string{}
	decoder := xml.NewDecoder(strings.NewReader(drawing))
	var at string
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%v in %s", err, drawing)
		}
		switch token := token.(type) {
		case xml.StartElement:
			at = token.Name.Local
			counted[at]++
		case xml.CharData:
			words[at] += string(token) + "|"
		}
	}
	if n := 1 + len(example.Spectra); counted["svg"] != n || counted["title"] != n || counted["desc"] != n {
		t.Errorf("elements %v", counted)
	}
	for _, want := range []string{"12 images", "2 of them do not say", "tricuspid 2D col? Dop", "jet 2.8 m/s on image 4: scale -400 to 50 cm/s, 70% of the scale", "beyond the scale (117%)", "likely image"} {
		if !strings.Contains(words["desc"], want) {
			t.Errorf("the description does not say %q: %s", want, words["desc"])
		}
	}
	for _, want := range []string{"apical <four> chamber", "70% of the scale", "69% of the scale", "Right parasternal", "Mitral"} {
		if !strings.Contains(words["text"], want) {
			t.Errorf("the picture does not show %q", want)
		}
	}
	for _, id := range []string{" id=", "color:", "stroke=\"#"} {
		if strings.Contains(drawing, id) {
			t.Errorf("%q: ids would repeat on a page of several studies, colours belong to the style sheet", id)
		}
	}
}

func TestAcquisitionInWords(t *testing.T) {
	var b bytes.Buffer
	p := printer{layout.Printer{W: &b}}
	p.acquired(acquiredExample(t))
	for _, want := range []string{"HOW IT WAS ACQUIRED", "apical            2D col? Dop    2D", "right parasternal -              -", "takes  70%", "takes 117%  2.4 s  beyond, likely"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
	for line := range strings.Lines(b.String()) {
		if len([]rune(line)) > layout.Width+1 {
			t.Errorf("%d letters: %s", len([]rune(line)), line)
		}
	}
}

func TestImagesWords(t *testing.T) {
	if got := imagesWords(&run.Study{}); !strings.Contains(got, "not looked at") || strings.Contains(got, "missing") {
		t.Errorf("%q", got)
	}
	if got := imagesWords(&run.Study{Objects: []run.Object{{Image: true}}}); got != "1 image, headers read" {
		t.Errorf("%q", got)
	}
}
