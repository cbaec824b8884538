package check

import (
	"math"
	"slices"
	"strings"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/term"
)

// Acquisition is how a study was acquired, as far as the headers of its images
// tell: what was imaged from where, and how the measured spectra were set up.
type Acquisition struct {
	Images   int // whose headers were read
	Unplaced int // of those, without a view whose window is known
	Windows  []AcquiredWindow
	Spectra  []AcquiredSpectrum // by image
}

// AcquiredWindow is what was stored from one window on the chest.
type AcquiredWindow struct {
	Window string // of [term.Windows]
	Valves []AcquiredValve
}

// AcquiredValve is what was stored of one valve from one window.
type AcquiredValve struct {
	Valve                     string // name of the finding site
	Title                     string
	Imaged, Colour, Spectrals Seen
}

// Seen says whether an image shows something.
type Seen int

// Degrees of seeing. Perhaps is an image in whose plane the valve lies, while
// its header does not say that it is of this one.
const (
	NotSeen Seen = iota
	Perhaps
	SurelySeen
)

// AcquiredSpectrum is a velocity on the scale of the spectrum it was measured
// on.
type AcquiredSpectrum struct {
	Measurement *echo.Measurement
	Image       *echo.Image
	Region      *echo.Region
	Velocity    float64  // cm/s, the highest measured on this spectrum
	Also        []string // other measurands measured on it
	Inferred    bool     // the image is only likely the right one
	Why         string
}

// Reach is the larger end of the scale: scanners differ in the sign of
// velocities.
func (s AcquiredSpectrum) Reach() float64 {
	return max(math.Abs(s.Region.Velocities.Low), math.Abs(s.Region.Velocities.High))
}

// valves of the heart, in the order in which they are shown.
var valves = []string{"tricuspid-valve", "pulmonary-valve", "mitral-valve", "aortic-valve"}

// Acquired arranges the images of a study; nil when none was given.
func Acquired(set *library.Library, s *echo.Study) *Acquisition {
	if len(s.Images) == 0 {
		return nil
	}
	r := read(set, s)
	out := &Acquisition{Images: len(s.Images)}
	for _, w := range term.Windows() {
		out.Windows = append(out.Windows, AcquiredWindow{Window: w, Valves: r.valvesFrom(w)})
	}
	for n := range s.Images {
		if _, view := r.viewOf(&s.Images[n]); view == nil || view.Window == "" {
			out.Unplaced++
		}
	}
	out.Spectra = r.spectra()
	return out
}

func (r *reading) valvesFrom(window string) []AcquiredValve {
	var out []AcquiredValve
	for _, name := range valves {
		site := r.set.Terms.Find(term.FindingSite, name)
		if site == nil {
			continue
		}
		v := AcquiredValve{Valve: name, Title: site.Title}
		for n := range r.study.Images {
			i := &r.study.Images[n]
			_, view := r.viewOf(i)
			if view == nil || view.Window != window {
				continue
			}
			seen := r.degree(n, view, site)
			if i.Is(echo.TwoDimensional) || i.Is(echo.ColourDoppler) || i.Is(echo.ThreeDimensional) {
				// A picture shows every valve in its plane, whatever it was taken for.
				v.Imaged = max(v.Imaged, r.pictured(seen, view, site))
			}
			spectral := i.Is(echo.PulsedWave) || i.Is(echo.ContinuousWave)
			if i.Is(echo.ColourDoppler) && !spectral {
				v.Colour = max(v.Colour, seen)
			}
			if spectral {
				v.Spectrals = max(v.Spectrals, seen)
			}
		}
		out = append(out, v)
	}
	return out
}

// degree is how surely an image is of a structure.
func (r *reading) degree(n int, view *term.Term, site *term.Term) Seen {
	switch r.about(n, []*term.Term{site}) {
	case expr.True:
		return SurelySeen
	case expr.Unknown:
		if slices.Contains(view.Shows, site.Name) {
			return Perhaps
		}
	}
	return NotSeen
}

func (r *reading) pictured(seen Seen, view *term.Term, site *term.Term) Seen {
	if slices.Contains(view.Shows, site.Name) {
		return SurelySeen
	}
	return seen
}

// spectra lists the spectra on which velocities were measured, with the highest
// of them.
func (r *reading) spectra() []AcquiredSpectrum {
	type place struct{ image, region int }
	at := map[place]int{}
	var out []AcquiredSpectrum
	for _, identifier := range sortedNames(r.byMeasurand) {
		for _, m := range r.byMeasurand[identifier] {
			speed, ok := cmPerSecond(m)
			if m.Link == nil || m.Link.Region < 0 || !ok {
				continue
			}
			image := &r.study.Images[m.Link.Image]
			region := &image.Regions[m.Link.Region]
			if region.Velocities == nil {
				continue
			}
			one := AcquiredSpectrum{Measurement: m, Image: image, Region: region, Velocity: speed, Inferred: m.Link.Inferred, Why: m.Link.Why}
			key := place{m.Link.Image, m.Link.Region}
			if n, known := at[key]; !known {
				at[key] = len(out)
				out = append(out, one)
			} else {
				out[n] = out[n].with(one)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b AcquiredSpectrum) int { return a.Image.Number - b.Image.Number })
	return out
}

// with adds another measurement on the same spectrum: the faster one stands for
// it, the other is named.
func (s AcquiredSpectrum) with(o AcquiredSpectrum) AcquiredSpectrum {
	also := s.Also
	if math.Abs(o.Velocity) > math.Abs(s.Velocity) {
		s, o = o, s
	}
	s.Also = also
	if name := o.Measurement.Measurand; name != s.Measurement.Measurand && !slices.Contains(s.Also, name) {
		s.Also = append(s.Also, name)
	}
	s.Also = slices.DeleteFunc(s.Also, func(name string) bool { return name == s.Measurement.Measurand })
	return s
}

// cmPerSecond is the value of a velocity. A cardiac index has the dimension of
// one, but is none.
func cmPerSecond(m *echo.Measurement) (float64, bool) {
	unit, _ := expr.UnitOf("scale_high")
	if m.Canonical == nil || !strings.HasSuffix(m.Canonical.Unit.Code(), "m/s") {
		return 0, false
	}
	x, err := m.Canonical.Float(unit)
	return x, err == nil
}
