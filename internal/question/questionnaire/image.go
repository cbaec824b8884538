package questionnaire

import (
	"math"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/question"
)

func ofImageOfValue() []question.Question {
	const private = ", where a site says which private element holds it"
	return []question.Question{
		{Name: "linked", Truth: true, Guard: question.Always, From: question.ImageOfValue, OfMeasured: of(question.Measured.Linked),
			Words: "{title} tied to its image", Gives: "the report refers to the image it was measured on"},
		{Name: "likely_windows", Guard: question.Always, From: question.ImageOfValue, OfMeasured: of(question.Measured.LikelyWindows),
			Words: "{number} likely window{s} of {title}",
			Gives: "windows, with those of images the values only likely come from; `windows(x)` counts only views that the report or an image it refers to states"},
		tells("scale_high", "cm/s", "upper end of the scale", "upper end of the velocity scale of its spectrum", highEnd),
		tells("scale_low", "cm/s", "lower end of the scale", "lower end of the velocity scale of its spectrum", lowEnd),
		tells("sweep_seconds", "s", "sweep", "time across the spectrum", ofRegion(func(g *echo.Region) *float64 { return g.Seconds })),
		tells("width_share", "1", "share of the width", "share of the width of the image that the spectrum takes", widthShare),
		tells("filter_frequency", "Hz", "wall filter", "the wall filter"+private, ofRegion(func(g *echo.Region) *float64 { return g.WallFilter })),
		tells("sample_gate", "mm", "sample gate", "length of the sample volume"+private, ofRegion(func(g *echo.Region) *float64 { return g.SampleGate })),
		tells("sample_depth", "cm", "sample depth", "depth of the sample volume, as the header says", ofAnyRegion(func(g *echo.Region) *float64 { return g.SampleDepth })),
		tells("correction_angle", "deg", "correction angle", "angle the velocities were corrected for, as the header says", ofRegion(func(g *echo.Region) *float64 { return g.CorrectionAngle })),
		tells("colour_scale", "cm/s", "colour scale", "velocity at the end of the colour scale, as the header says or reckoned from repetition and frequency", ofAnyRegion(func(g *echo.Region) *float64 { return g.ColourScale })),
		tells("frame_rate", "Hz", "frame rate", "images a second", func(i *echo.Image, _ *echo.Region) float64 { return told(i.FrameRate) }),
		tells("loop_beats", "1", "beats in the loop", "heart beats in the loop", func(i *echo.Image, _ *echo.Region) float64 { return told(i.Duration) * told(i.HeartRate) / 60 }),
		tells("image_heart_rate", "/min", "heart rate", "heart rate the image states", func(i *echo.Image, _ *echo.Region) float64 { return told(i.HeartRate) }),
		{Name: "calibrated", Truth: true, From: question.ImageOfValue, OfImage: Calibrated, Unanswered: "its image does not tell whether it is calibrated",
			Words: "{title} measured where the image is calibrated", Gives: "the measured region has a scale"},
		{Name: "same_view", Truth: true, From: question.ImageOfValue, OfMeasured: of(question.Measured.SameView), Unanswered: "its image, or the report, does not tell the view",
			Words: "{title} noted with the view of its image", Gives: "the view the report notes is that of the image"},
		{Name: "same_mode", Truth: true, From: question.ImageOfValue, OfMeasured: of(question.Measured.SameMode), Unanswered: "its image, or the report, does not tell the mode",
			Words: "{title} noted with the mode of its image", Gives: "the mode the report notes is that of the image"},
	}
}

// tells is a question for a number that the image shows.
func tells(name, unit, title, gives string, answer func(*echo.Image, *echo.Region) float64) question.Question {
	return question.Question{Name: name, UnitCode: unit, From: question.ImageOfValue, OfImage: answer, Words: title + " {value}", Unanswered: "its image does not tell the " + title, Gives: gives}
}

func told(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// ofRegion takes a number from the region that was measured.
func ofRegion(number func(*echo.Region) *float64) func(*echo.Image, *echo.Region) float64 {
	return func(_ *echo.Image, g *echo.Region) float64 {
		if g == nil {
			return math.NaN()
		}
		return told(number(g))
	}
}

// ofAnyRegion takes a number from the first region that holds it.
func ofAnyRegion(number func(*echo.Region) *float64) func(*echo.Image, *echo.Region) float64 {
	return func(i *echo.Image, _ *echo.Region) float64 {
		for n := range i.Regions {
			if x := number(&i.Regions[n]); x != nil {
				return *x
			}
		}
		return math.NaN()
	}
}

func highEnd(_ *echo.Image, g *echo.Region) float64 {
	if g == nil || g.Velocities == nil {
		return math.NaN()
	}
	return g.Velocities.High
}

func lowEnd(_ *echo.Image, g *echo.Region) float64 {
	if g == nil || g.Velocities == nil {
		return math.NaN()
	}
	return g.Velocities.Low
}

func widthShare(i *echo.Image, g *echo.Region) float64 {
	if g == nil || i.Columns <= 0 {
		return math.NaN()
	}
	return float64(g.MaxX-g.MinX+1) / float64(i.Columns)
}

// Calibrated asks whether the part of the image that was measured gives a
// scale. When the part is not known it can only be denied, by an image that
// gives none anywhere.
func Calibrated(i *echo.Image, g *echo.Region) float64 {
	switch {
	case g != nil && g.Calibrated:
		return 1
	case g != nil, !slices.ContainsFunc(i.Regions, func(g echo.Region) bool { return g.Calibrated }):
		return 0
	}
	return math.NaN()
}
