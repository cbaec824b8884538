package answer

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
	"echotally/internal/term"
)

// NotLookedAt is what a rule about images says of a study without them. That
// none was given does not mean that none was taken.
const NotLookedAt = "not looked at: no image of this study was given"

// gallery is what the study holds for an alias of images.
type gallery struct {
	alias   *rule.ImageAlias
	sure    []*echo.Image // meet every condition
	perhaps []*echo.Image // their headers do not say enough to tell
}

func (r *Reading) images(a *rule.ImageAlias) *gallery {
	g := &gallery{alias: a}
	for n := range r.Study.Images {
		switch i := &r.Study.Images[n]; r.meetsImage(n, a) {
		case expr.True:
			g.sure = append(g.sure, i)
		case expr.Unknown:
			g.perhaps = append(g.perhaps, i)
		}
	}
	return g
}

// meetsImage asks whether an image belongs to an alias.
func (r *Reading) meetsImage(n int, a *rule.ImageAlias) expr.Truth {
	i := &r.Study.Images[n]
	out := expr.True
	if len(a.Modes) > 0 {
		out = both(out, known(len(i.Modes) > 0, slices.ContainsFunc(a.Modes, i.Is)))
	}
	key, view := r.viewOf(i)
	if len(a.Views) > 0 {
		out = both(out, known(key != (coding.Key{}), slices.Contains(a.Views, key)))
	}
	if len(a.Windows) > 0 {
		out = both(out, known(view != nil && view.Window != "", view != nil && slices.Contains(a.Windows, view.Window)))
	}
	if len(a.About) > 0 {
		out = both(out, r.about(n, a.About))
	}
	return out
}

func known(told, holds bool) expr.Truth {
	switch {
	case !told:
		return expr.Unknown
	case holds:
		return expr.True
	}
	return expr.False
}

// viewOf is the coded view of an image, the zero key when it has none; the term
// is nil when nobody knows the code.
func (r *Reading) viewOf(i *echo.Image) (coding.Key, *term.Term) {
	if i.View == nil || i.View.Concept.IsZero() {
		return coding.Key{}, nil
	}
	key := i.View.Concept.Key()
	return key, r.Library.Terms.Of(term.ImageView, key)
}

var heart = coding.Key{CodeValue: "80891009", CodingSchemeDesignator: "SCT"}

// about asks whether an image is of one of the structures: as its header says,
// as the measurements say that the report ties to it, or because its view shows
// only that one valve.
func (r *Reading) about(n int, sites []*term.Term) expr.Truth {
	i := &r.Study.Images[n]
	wanted := func(key coding.Key) bool {
		return slices.ContainsFunc(sites, func(t *term.Term) bool { return slices.Contains(t.Codes, key) })
	}
	for m := range r.Study.Measurements {
		one := &r.Study.Measurements[m]
		if one.Link == nil || one.Link.Inferred || one.Link.Image != n {
			continue
		}
		for _, site := range []*echo.Modifier{one.Modifiers.FindingSite, one.SectionSite} {
			if site != nil && wanted(site.Concept.Key()) {
				return expr.True
			}
		}
	}
	others := false
	for _, s := range i.Structures {
		if wanted(s.Key()) {
			return expr.True
		}
		others = others || s.Key() != heart
	}
	if others {
		return expr.False
	}
	_, view := r.viewOf(i)
	if view == nil || len(view.Shows) == 0 || !slices.ContainsFunc(sites, isValve) {
		return expr.Unknown
	}
	shown := slices.ContainsFunc(sites, func(t *term.Term) bool { return slices.Contains(view.Shows, t.Name) })
	return known(!shown || len(view.Shows) == 1, shown)
}

func isValve(t *term.Term) bool { return strings.HasSuffix(t.Name, "-valve") }

// ofImages answers a question about a set of images: the least that the
// headers show, or, looked at widely, the most that they leave possible.
func (a *Answers) ofImages(g *gallery, function string, wide bool) float64 {
	list, more := g.sure, 0
	if wide {
		more = len(g.perhaps)
	}
	switch function {
	case "present":
		return truth(len(list)+more > 0)
	case "count":
		return float64(len(list) + more)
	}
	seen := map[string]bool{}
	for _, i := range list {
		key, t := a.viewOf(i)
		name := viewName(key, t)
		if function == "windows" {
			name = windowName(key, t)
		}
		if name != "" && key != (coding.Key{}) {
			seen[name] = true
		}
	}
	return float64(len(seen) + more)
}

// linkOf is the link of the value that counts. A mean was measured on no image:
// for it stands the last single value behind it which has one.
func (b *Binding) linkOf() (*echo.Measurement, *echo.Link) {
	if m := b.Chosen.Measurement; m != nil && (m.Link != nil || !b.Chosen.derived) {
		return m, m.Link
	}
	singles := b.Individuals()
	for n := len(singles) - 1; n >= 0; n-- {
		if m := singles[n].Measurement; m != nil && m.Link != nil {
			return m, m.Link
		}
	}
	return nil, nil
}

// aboutLink lists the questions that ofLink answers.
var aboutLink = []string{
	"calibrated", "same_view", "same_mode", "scale_high", "scale_low", "colour_scale", "sweep_seconds", "width_share",
	"frame_rate", "loop_beats", "correction_angle", "sample_depth", "sample_gate", "filter_frequency", "image_heart_rate",
}

// ofLink answers a question about the image a value was taken on; NaN when the
// image is not known or does not tell.
func (a *Answers) ofLink(b *Binding, function string) float64 {
	m, link := b.linkOf()
	if link == nil {
		return math.NaN()
	}
	i := &a.Study.Images[link.Image]
	switch function {
	case "frame_rate":
		return told(i.FrameRate)
	case "image_heart_rate":
		return told(i.HeartRate)
	case "loop_beats":
		return told(i.Duration) * told(i.HeartRate) / 60
	case "same_view":
		return number(a.sameView(m, i))
	case "same_mode":
		return number(a.sameMode(m, i))
	case "calibrated":
		return number(Calibrated(i, link.Region))
	case "colour_scale":
		return anyRegion(i, func(g *echo.Region) *float64 { return g.ColourScale })
	case "sample_depth":
		return anyRegion(i, func(g *echo.Region) *float64 { return g.SampleDepth })
	}
	if link.Region < 0 {
		return math.NaN()
	}
	g := &i.Regions[link.Region]
	switch {
	case function == "scale_high" && g.Velocities != nil:
		return g.Velocities.High
	case function == "scale_low" && g.Velocities != nil:
		return g.Velocities.Low
	case function == "sweep_seconds":
		return told(g.Seconds)
	case function == "sample_gate":
		return told(g.SampleGate)
	case function == "filter_frequency":
		return told(g.WallFilter)
	case function == "correction_angle":
		return told(g.CorrectionAngle)
	case function == "width_share" && i.Columns > 0:
		return float64(g.MaxX-g.MinX+1) / float64(i.Columns)
	}
	return math.NaN()
}

func told(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

func anyRegion(i *echo.Image, of func(*echo.Region) *float64) float64 {
	for n := range i.Regions {
		if x := of(&i.Regions[n]); x != nil {
			return *x
		}
	}
	return math.NaN()
}

// Calibrated asks whether the part of the image that was measured gives a
// scale. When the part is not known it can only be denied, by an image that
// gives none anywhere.
func Calibrated(i *echo.Image, region int) expr.Truth {
	if region >= 0 {
		return known(true, i.Regions[region].Calibrated)
	}
	anywhere := slices.ContainsFunc(i.Regions, func(g echo.Region) bool { return g.Calibrated })
	return known(!anywhere, false)
}

// sameView compares the view the report notes with that of the image.
func (a *Answers) sameView(m *echo.Measurement, i *echo.Image) expr.Truth {
	key, _ := a.viewOf(i)
	v := m.Modifiers.ImageView
	return known(v != nil && v.Level != echo.ImageLevel && key != (coding.Key{}), v != nil && v.Concept.Key() == key)
}

// sameMode compares the mode the report notes with those the image shows.
// Tissue Doppler has no mark of its own in an image.
func (a *Answers) sameMode(m *echo.Measurement, i *echo.Image) expr.Truth {
	if m.Modifiers.ImageMode == nil || len(i.Modes) == 0 {
		return expr.Unknown
	}
	t := a.Library.Terms.Of(term.ImageMode, m.Modifiers.ImageMode.Concept.Key())
	switch {
	case t == nil:
		return expr.Unknown
	case t.Name == "tissue-doppler":
		return known(true, i.Is(echo.PulsedWave) || i.Is(echo.ColourDoppler))
	case t.Name == "speckle-tracking-2d":
		return known(true, i.Is(echo.TwoDimensional))
	}
	return known(true, i.Is(echo.ImageMode(t.Name)))
}

// likelyWindows counts windows with those of images the values only likely come
// from.
func (a *Answers) likelyWindows(items []Item) float64 {
	seen := map[string]bool{}
	for _, it := range items {
		var t *term.Term
		if v := it.Measurement.Modifiers.ImageView; v != nil {
			t = a.Library.Terms.Of(term.ImageView, v.Concept.Key())
		} else if it.Measurement.Link != nil {
			_, t = a.viewOf(&a.Study.Images[it.Measurement.Link.Image])
		}
		if t != nil && t.Window != "" {
			seen[t.Window] = true
		}
	}
	return float64(len(seen))
}

// undecided is why a set of images leaves an answer open.
func (g *gallery) undecided() finding.Missing {
	reason := fmt.Sprintf("%d images may be such: their headers do not say", len(g.perhaps))
	if len(g.perhaps) == 1 {
		reason = fmt.Sprintf("image %d may be such: its header does not say", g.perhaps[0].Number)
	}
	return finding.Missing{Alias: g.alias.Name, Measurand: "image", Title: Capital(g.alias.Title()), Reason: reason}
}

// linkReason is why the image of a value does not answer.
func (b *Binding) linkReason(function string) string {
	if _, link := b.linkOf(); link == nil {
		return "its image is not known"
	}
	if function == "filter_frequency" {
		return "its image does not tell the wall filter"
	}
	return "its image does not tell the " + strings.ReplaceAll(function, "_", " ")
}
