package described

import (
	"fmt"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/rule"
	"echotally/internal/term"
)

// images gives the study of an example its images, each with one region
// that holds what the example says of it.
func images(set *library.Library, s *echo.Study, images []rule.ExampleImage) {
	for n, x := range images {
		i := echo.Image{
			SOPInstanceUID: fmt.Sprintf("2.25.9.%d", n+1), Number: n + 1, Rows: 600, Columns: 1000, Frames: 1,
			FrameRate: x.FrameRate, Duration: x.Duration, HeartRate: x.HeartRate,
		}
		for _, mode := range x.Mode {
			i.Modes = append(i.Modes, echo.ImageMode(mode))
		}
		if t := set.Terms.Find(term.ImageView, x.ImageView); t != nil {
			i.View = &echo.ImageView{Concept: t.Concept()}
		}
		for _, site := range x.About {
			if t := set.Terms.Find(term.FindingSite, site); t != nil {
				i.Structures = append(i.Structures, t.Concept())
			}
		}
		g := echo.Region{MaxX: 999, MaxY: 599, Calibrated: !x.Uncalibrated, Seconds: x.Seconds, ColourScale: x.ColourScale, CorrectionAngle: x.CorrectionAngle, SampleDepth: x.SampleDepth, WallFilter: x.WallFilter, SampleGate: x.SampleGate}
		if x.WidthShare != nil {
			g.MaxX = int(*x.WidthShare*1000) - 1
		}
		if x.ScaleHigh != nil && x.ScaleLow != nil {
			g.Velocities = &echo.Span{Low: *x.ScaleLow, High: *x.ScaleHigh}
		}
		i.Regions = []echo.Region{g}
		for _, p := range x.Problem {
			i.Deviations = append(i.Deviations, echo.ImageDeviation{Problem: echo.ImageProblem(p), Detail: "example"})
		}
		s.Images = append(s.Images, i)
	}
}

func link(g rule.Given) *echo.Link {
	switch {
	case g.Image > 0:
		return &echo.Link{Image: g.Image - 1, Why: "the report refers to it"}
	case g.LikelyImage > 0:
		return &echo.Link{Image: g.LikelyImage - 1, Inferred: true, Why: "same mode, view"}
	}
	return nil
}
