package rule

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/term"
)

// ImageChoice is what an alias of images stands for: those that meet every
// condition given.
type ImageChoice struct {
	Mode      Names `yaml:"mode"`      // image mode terms, any of them
	ImageView Names `yaml:"imageView"` // any of them
	Window    Names `yaml:"window"`    // any of them
	About     Names `yaml:"about"`     // finding site terms, any of them
}

// ImageAlias is a set of images, compiled.
type ImageAlias struct {
	Name    string
	Modes   []echo.ImageMode
	Views   []coding.Key
	Windows []string
	About   []*term.Term
	title   string
}

// Title is the alias in words.
func (a *ImageAlias) Title() string { return a.title }

// ExampleImage is one image of an example: what its header would say.
type ExampleImage struct {
	Mode            Names    `yaml:"mode"`
	ImageView       string   `yaml:"imageView"`
	About           Names    `yaml:"about"`
	ScaleLow        *float64 `yaml:"scaleLow"`  // cm/s
	ScaleHigh       *float64 `yaml:"scaleHigh"` // cm/s
	ColourScale     *float64 `yaml:"colourScale"`
	Seconds         *float64 `yaml:"seconds"`
	WidthShare      *float64 `yaml:"widthShare"` // of the image, taken by the region
	FrameRate       *float64 `yaml:"frameRate"`
	Duration        *float64 `yaml:"duration"` // s
	HeartRate       *float64 `yaml:"heartRate"`
	CorrectionAngle *float64 `yaml:"correctionAngle"`
	SampleDepth     *float64 `yaml:"sampleDepth"` // cm
	SampleGate      *float64 `yaml:"sampleGate"`  // mm
	WallFilter      *float64 `yaml:"wallFilter"`  // Hz
	Uncalibrated    bool     `yaml:"uncalibrated"`
	Problem         Names    `yaml:"problem"` // words of forbid
}

// ImageFaults lists the faults of image headers that a rule may forbid.
func ImageFaults() []string {
	out := []string{MeasuredUncalibrated}
	for _, p := range []echo.ImageProblem{
		echo.Uncalibrated, echo.RegionOutside, echo.RegionsConflict, echo.PixelSpacingDiffers, echo.UnusualDirection, echo.AngleCorrected,
		echo.TimingMissing, echo.ViewMissing, echo.BaselineUnknown, echo.CombinationUnusual, echo.ModesContradict,
	} {
		out = append(out, string(p))
	}
	return out
}

// MeasuredUncalibrated is a measurement on an image, or a part of one, that
// gives no scale.
const MeasuredUncalibrated = "measuredUncalibrated"

// imageAliases reads the images of the rule.
func (c *compilation) imageAliases() {
	for _, name := range sortedKeys(c.file.Images) {
		path := "$.images." + name
		c.name(path, name)
		_, measurand := c.rule.Aliases[name]
		_, statement := c.rule.Statements[name]
		if measurand || statement {
			c.fault(path, "name "+name+" is also a measurand or statement alias", "choose another")
		}
		c.rule.Images[name] = c.imageAlias(path, name, c.file.Images[name])
	}
}

func (c *compilation) imageAlias(path, name string, choice ImageChoice) *ImageAlias {
	a := &ImageAlias{Name: name}
	var modes, places, about []string
	for _, mode := range choice.Mode {
		if c.term(path+".mode", term.ImageMode, mode) != nil {
			a.Modes = append(a.Modes, echo.ImageMode(mode))
			modes = append(modes, c.Terms.Find(term.ImageMode, mode).Title)
		}
	}
	for _, view := range choice.ImageView {
		a.Views = append(a.Views, c.term(path+".imageView", term.ImageView, view)...)
		if t := c.Terms.Find(term.ImageView, view); t != nil {
			places = append(places, t.Title)
		}
	}
	for _, w := range choice.Window {
		if c.Terms.Find(term.Window, w) == nil {
			c.fault(path+".window", "unknown window "+w, "one of "+strings.Join(c.Terms.Ordered(term.Window), ", "))
		}
		a.Windows, places = append(a.Windows, w), append(places, w+" window")
	}
	for _, site := range choice.About {
		if t := c.Terms.Find(term.FindingSite, site); t != nil {
			a.About, about = append(a.About, t), append(about, t.Title)
		} else {
			c.term(path+".about", term.FindingSite, site)
		}
	}
	if len(modes)+len(places)+len(about) == 0 {
		c.fault(path, "the alias "+name+" says nothing of its images", "give mode, imageView, window or about")
	}
	a.title = "image"
	for _, part := range []struct {
		word  string
		names []string
	}{{", ", modes}, {" of ", about}, {", ", places}} {
		if len(part.names) > 0 {
			a.title += part.word + strings.Join(part.names, " or ")
		}
	}
	return a
}

// exampleImages checks the images of an example and the references to them.
func (c *compilation) exampleImages(path string, e Example) {
	for n, i := range e.Images {
		at := fmt.Sprintf("%s.images[%d]", path, n)
		for _, mode := range i.Mode {
			c.term(at+".mode", term.ImageMode, mode)
		}
		if i.ImageView != "" {
			c.term(at+".imageView", term.ImageView, i.ImageView)
		}
		for _, site := range i.About {
			c.term(at+".about", term.FindingSite, site)
		}
		for _, word := range i.Problem {
			if !slices.Contains(ImageFaults(), word) {
				c.fault(at+".problem", "unknown fault "+word, "one of "+strings.Join(ImageFaults(), ", "))
			}
		}
	}
	for _, name := range sortedKeys(e.Given) {
		for _, g := range e.Given[name] {
			if n := max(g.Image, g.LikelyImage); n > len(e.Images) || n < 0 {
				c.fault(path+".given."+name, fmt.Sprintf("there is no image %d", n), "images count from 1")
			}
		}
	}
}
