package ultrasound

import (
	"math"
	"strconv"
	"strings"

	"echotally/internal/dcm"
	"echotally/internal/echo"
)

// decimals reads the values of a DS or IS element; values that are no number
// are left out and told.
func (r *reader) decimals(t dcm.Tag) []float64 {
	var out []float64
	for _, text := range r.header.Texts(t) {
		if text == "" {
			continue
		}
		x, err := strconv.ParseFloat(strings.TrimPrefix(text, "+"), 64)
		if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
			r.deviates(echo.HeaderValueUnusual, 0, "%s holds no number", t)
			continue
		}
		out = append(out, x)
	}
	return out
}

// positive is the first value of a DS or IS element when it is above zero.
func (r *reader) positive(t dcm.Tag) *float64 {
	values := r.decimals(t)
	if len(values) == 0 {
		return nil
	}
	if values[0] <= 0 {
		r.deviates(echo.HeaderValueUnusual, 0, "%s is %v, taken as not recorded", t, values[0])
		return nil
	}
	return &values[0]
}

// timing works out frame rate and duration. Recommended Display Frame Rate is
// how fast to play a loop, not how fast it was taken, and is not looked at.
func (r *reader) timing() {
	i := r.image
	i.HeartRate = r.positive(tagHeartRate)
	effective := r.positive(dcm.T(0x00180072)) // s, whole loop
	if i.Frames < 2 {
		i.Duration = effective
		return
	}
	frameTime := r.positive(dcm.T(0x00181063)) // ms
	vector := r.decimals(dcm.T(0x00181065))    // ms, the first is the start
	cine := r.positive(dcm.T(0x00180040))
	switch {
	case frameTime != nil:
		i.FrameRate, i.Duration = number(1000/(*frameTime)), number(*frameTime*float64(i.Frames)/1000)
	case len(vector) > 1:
		// The first increment is zero by the standard; where a scanner writes one it is the time of the frame before.
		sum := 0.0
		for _, step := range vector[1:] {
			sum += step
		}
		if mean := sum / float64(len(vector)-1); mean > 0 {
			i.FrameRate, i.Duration = number(1000/mean), number(mean*float64(i.Frames)/1000)
		}
	case cine != nil:
		i.FrameRate, i.Duration = cine, number(float64(i.Frames)/(*cine))
	}
	if effective != nil {
		i.Duration = effective
	}
	if i.FrameRate == nil {
		r.deviates(echo.TimingMissing, 0, "%d frames without frame time, frame time vector or cine rate", i.Frames)
	} else if cine != nil && math.Abs(*cine-*i.FrameRate) > 0.1**cine {
		r.deviates(echo.HeaderValueUnusual, 0, "cine rate %v and frame time (%.1f frames per second) differ", *cine, *i.FrameRate)
	}
}

func number(x float64) *float64 { return &x }

// private reads the mapped settings of a region: from its own item, otherwise
// from the image.
func (r *reader) private(item dcm.Dataset, g *echo.Region) {
	for _, p := range r.mapped {
		x, ok := p.Value(item)
		if !ok {
			x, ok = p.Value(r.header)
		}
		if !ok {
			continue
		}
		switch p.Setting {
		case "wallFilter":
			g.WallFilter = &x
		case "sampleGate":
			g.SampleGate = &x
		}
	}
}
