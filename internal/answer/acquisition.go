package answer

import (
	"math"
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/question/questionnaire"
	"echotally/internal/term"
)

// Acquired arranges the images of the study; nil when none was given.
func (r *Reading) Acquired() *finding.Acquired {
	s := r.Study
	if len(s.Images) == 0 {
		return nil
	}
	out := &finding.Acquired{Images: len(s.Images)}
	for _, w := range r.Library.Terms.Ordered(term.Window) {
		out.Windows = append(out.Windows, finding.AcquiredWindow{Window: w, Valves: r.valvesFrom(w)})
	}
	for n := range s.Images {
		if _, view := r.viewOf(&s.Images[n]); view == nil || view.Window == "" {
			out.Unplaced++
		}
	}
	out.Spectra = r.spectra()
	return out
}

func (r *Reading) valvesFrom(window string) []finding.AcquiredValve {
	var out []finding.AcquiredValve
	for _, name := range r.Library.Terms.Ordered(term.FindingSite) {
		site := r.Library.Terms.Find(term.FindingSite, name)
		v := finding.AcquiredValve{Valve: name, Title: site.Title}
		for n := range r.Study.Images {
			i := &r.Study.Images[n]
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
func (r *Reading) degree(n int, view *term.Term, site *term.Term) finding.Seen {
	switch r.about(n, []*term.Term{site}) {
	case expr.True:
		return finding.SurelySeen
	case expr.Unknown:
		if slices.Contains(view.Shows, site.Name) {
			return finding.Perhaps
		}
	}
	return finding.NotSeen
}

func (r *Reading) pictured(seen finding.Seen, view *term.Term, site *term.Term) finding.Seen {
	if slices.Contains(view.Shows, site.Name) {
		return finding.SurelySeen
	}
	return seen
}

// spectra lists the spectra on which velocities were measured, with the highest
// of them.
func (r *Reading) spectra() []finding.AcquiredSpectrum {
	type place struct{ image, region int }
	at := map[place]int{}
	var out []finding.AcquiredSpectrum
	for _, identifier := range r.Measurands() {
		for _, m := range r.Of(identifier) {
			speed, ok := cmPerSecond(m)
			if m.Link == nil || m.Link.Region < 0 || !ok {
				continue
			}
			image := &r.Study.Images[m.Link.Image]
			region := &image.Regions[m.Link.Region]
			if region.Velocities == nil {
				continue
			}
			one := finding.AcquiredSpectrum{Measurement: m, Image: image, Region: region, Velocity: speed, Inferred: m.Link.Inferred, Why: m.Link.Why}
			key := place{m.Link.Image, m.Link.Region}
			if n, known := at[key]; !known {
				at[key] = len(out)
				out = append(out, one)
			} else {
				out[n] = joined(out[n], one)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b finding.AcquiredSpectrum) int { return a.Image.Number - b.Image.Number })
	return out
}

// joined adds another measurement on the same spectrum: the faster one stands
// for it, the other is named.
func joined(s, o finding.AcquiredSpectrum) finding.AcquiredSpectrum {
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
	unit, _ := questionnaire.Find("scale_high").Unit()
	if m.Canonical == nil || !strings.HasSuffix(m.Canonical.Unit.Code(), "m/s") {
		return 0, false
	}
	x, err := m.Canonical.Float(unit)
	return x, err == nil
}
