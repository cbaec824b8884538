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
	"echotally/internal/question/questionnaire"
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

// looked is a set of images as it is asked: the least that the headers show, or,
// looked at widely, the most that they leave possible.
type looked struct {
	*Reading
	*gallery
	wide bool
}

func (l looked) more() int {
	if l.wide {
		return len(l.perhaps)
	}
	return 0
}

// Present asks whether there is such an image.
func (l looked) Present() float64 { return truth(len(l.sure)+l.more() > 0) }

// Count is how many such images there are.
func (l looked) Count() float64 { return float64(len(l.sure) + l.more()) }

// Views counts the views they show.
func (l looked) Views() float64 { return l.distinct(viewName) }

// Windows counts the windows they were taken from.
func (l looked) Windows() float64 { return l.distinct(windowName) }

func (l looked) distinct(name func(key coding.Key, t *term.Term) string) float64 {
	seen := map[string]bool{}
	for _, i := range l.sure {
		key, t := l.viewOf(i)
		if n := name(key, t); n != "" && key != (coding.Key{}) {
			seen[n] = true
		}
	}
	return float64(len(seen) + l.more())
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

// shownByImage answers a question about the image a value was taken on; NaN when
// the image is not known or does not tell.
func (b *Binding) shownByImage(answer func(*echo.Image, *echo.Region) float64) float64 {
	_, link := b.linkOf()
	if link == nil {
		return math.NaN()
	}
	i := &b.reading.Study.Images[link.Image]
	return answer(i, regionOf(i, link.Region))
}

// regionOf is a region of an image, nil when it is not known which.
func regionOf(i *echo.Image, region int) *echo.Region {
	if region < 0 {
		return nil
	}
	return &i.Regions[region]
}

// Linked asks whether the report refers to the image of the value.
func (b *Binding) Linked() float64 {
	_, link := b.linkOf()
	return truth(link != nil && !link.Inferred)
}

func told(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// Uncalibrated reports whether the part of the image that was measured is known
// to give no scale.
func Uncalibrated(i *echo.Image, region int) bool {
	return questionnaire.Calibrated(i, regionOf(i, region)) == 0
}

// SameView compares the view the report notes with that of the image.
func (b *Binding) SameView() float64 {
	m, link := b.linkOf()
	if link == nil {
		return math.NaN()
	}
	key, _ := b.reading.viewOf(&b.reading.Study.Images[link.Image])
	v := m.Modifiers.ImageView
	if v == nil || v.Level == echo.ImageLevel || key == (coding.Key{}) {
		return math.NaN()
	}
	return truth(v.Concept.Key() == key)
}

// SameMode compares the mode the report notes with those the image shows.
func (b *Binding) SameMode() float64 {
	m, link := b.linkOf()
	if link == nil || m.Modifiers.ImageMode == nil {
		return math.NaN()
	}
	i := &b.reading.Study.Images[link.Image]
	t := b.reading.Library.Terms.Of(term.ImageMode, m.Modifiers.ImageMode.Concept.Key())
	switch {
	case t == nil || len(i.Modes) == 0:
		return math.NaN()
	}
	return truth(i.IsAny(t.Images()))
}

// LikelyWindows counts windows with those of images the values only likely come
// from.
func (b *Binding) LikelyWindows() float64 {
	r, seen := b.reading, map[string]bool{}
	for _, it := range b.Items {
		var t *term.Term
		if v := it.Measurement.Modifiers.ImageView; v != nil {
			t = r.Library.Terms.Of(term.ImageView, v.Concept.Key())
		} else if it.Measurement.Link != nil {
			_, t = r.viewOf(&r.Study.Images[it.Measurement.Link.Image])
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
