// Package link owns the tying of measurements to the images they were taken on.
package link

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/term"
	"echotally/internal/ucum"
	"echotally/internal/ultrasound"
)

// nearby is how far a measurement's time may lie from that of the image it was
// taken on and still speak for it: sonographers measure on the frozen picture.
const nearby = 2 * time.Minute

// Attach gives a study its images, by time and instance number, and ties its
// measurements to them: by the reference or the coordinates in the report,
// otherwise by what mode, view, structure and time make likely. Where two
// images are equally likely there is no link.
func Attach(study *echo.Study, images []*echo.Image, terms *term.Catalogue) {
	images = slices.Clone(images)
	slices.SortStableFunc(images, func(a, b *echo.Image) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.SeriesInstanceUID, b.SeriesInstanceUID),
			cmp.Compare(a.InstanceNumber, b.InstanceNumber), cmp.Compare(a.SOPInstanceUID, b.SOPInstanceUID))
	})
	study.Images = nil
	for n, i := range images {
		one := *i
		one.Number = n + 1
		whose(study, &one)
		study.Images = append(study.Images, one)
	}
	l := linker{study: study, terms: terms, byUID: map[string]int{}}
	for n := range study.Images {
		l.byUID[study.Images[n].SOPInstanceUID] = n
	}
	for n := range study.Measurements {
		m := &study.Measurements[n]
		if m.Link = l.stated(m); m.Link != nil {
			l.takeView(m)
		} else if m.Role == echo.Result && len(m.Images) == 0 {
			m.Link = l.likely(m)
		}
	}
}

// whose compares the person an image names with that of the reports.
func whose(study *echo.Study, i *echo.Image) {
	all := study.Identity.Contradicts(i.Identity)
	if a, b := study.Subject.PatientSex, i.PatientSex; (a == "M" || a == "F") && (b == "M" || b == "F") && a != b {
		all = append(all, echo.OfSex)
	}
	for _, of := range all {
		study.Contradict(echo.Contradiction{Of: of, Within: echo.AmongObjects, SOPInstanceUID: i.SOPInstanceUID})
	}
}

type linker struct {
	study *echo.Study
	terms *term.Catalogue
	byUID map[string]int
}

// stated follows the report's own reference.
func (l *linker) stated(m *echo.Measurement) *echo.Link {
	for _, ref := range m.Images {
		n, ok := l.byUID[ref.SOPInstanceUID]
		if !ok {
			continue
		}
		image := &l.study.Images[n]
		out := &echo.Link{Image: n, Region: l.region(image, m, ref.GraphicData), Why: "the report refers to it"}
		if len(ref.GraphicData) > 0 {
			out.Why = "the report's caliper lies on it"
		}
		return out
	}
	return nil
}

// takeView gives a measurement that notes no view the one of its image.
func (l *linker) takeView(m *echo.Measurement) {
	if v := l.study.Images[m.Link.Image].View; m.Modifiers.ImageView == nil && v != nil && !v.Concept.IsZero() {
		m.Modifiers.ImageView = &echo.Modifier{Concept: v.Concept, Written: v.Written, Level: echo.ImageLevel}
	}
}

// region finds the region a measurement was taken in. Points decide when there
// are any: all of them must lie in the region. Regions may overlap; the one
// that fits the measurement comes first, then the calibrated, then the smaller.
// Without points only a region that alone fits the measurement is taken.
func (l *linker) region(image *echo.Image, m *echo.Measurement, points []float64) int {
	var fitting []int
	wanted := l.formats(m)
	for n := range image.Regions {
		g := &image.Regions[n]
		holds := true
		for p := 0; p+1 < len(points); p += 2 {
			holds = holds && g.Contains(points[p], points[p+1])
		}
		if holds && (len(points) > 1 || slices.Contains(wanted, g.SpatialFormat)) {
			fitting = append(fitting, n)
		}
	}
	rank := func(n int) (int, int, int) {
		g := &image.Regions[n]
		return bit(!slices.Contains(wanted, g.SpatialFormat)), bit(!g.Calibrated), (g.MaxX - g.MinX) * (g.MaxY - g.MinY)
	}
	slices.SortStableFunc(fitting, func(a, b int) int {
		a1, a2, a3 := rank(a)
		b1, b2, b3 := rank(b)
		return cmp.Or(cmp.Compare(a1, b1), cmp.Compare(a2, b2), cmp.Compare(a3, b3))
	})
	switch {
	case len(fitting) == 0:
		return -1
	case len(points) < 2 && len(fitting) > 1 && !ultrasound.SameScale(&image.Regions[fitting[0]], &image.Regions[fitting[1]]):
		return -1
	}
	return fitting[0]
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// formats lists the region formats a measurement can have been taken in, by its
// mode, otherwise by its kind of quantity.
func (l *linker) formats(m *echo.Measurement) []int {
	if t := l.mode(m); t != nil {
		switch t.Region {
		case term.SpectralRegion:
			return []int{echo.FormatSpectral}
		case term.MotionRegion:
			return []int{echo.FormatMMode}
		case term.PlaneRegion:
			return []int{echo.Format2D}
		}
	}
	if isVelocity(m) {
		return []int{echo.FormatSpectral}
	}
	return []int{echo.Format2D, echo.FormatMMode, echo.FormatSpectral}
}

func isVelocity(m *echo.Measurement) bool {
	if m.Quantity == nil {
		return false
	}
	// A cardiac index has the dimension of a velocity, but is none.
	return strings.HasSuffix(m.Quantity.Unit.Code(), "m/s")
}

// mode is the term of the measurement's image mode, nil when it states none that is known.
func (l *linker) mode(m *echo.Measurement) *term.Term {
	if m.Modifiers.ImageMode == nil {
		return nil
	}
	return l.terms.Of(term.ImageMode, m.Modifiers.ImageMode.Concept.Key())
}

// modes are those of the images a measurement may have been taken on, none when nothing
// tells.
func (l *linker) modes(m *echo.Measurement) []string {
	if t := l.mode(m); t != nil {
		return t.Images()
	}
	if isVelocity(m) {
		return []string{string(echo.ContinuousWave), string(echo.PulsedWave)}
	}
	return nil
}

// candidate is an image a measurement may have been taken on.
type candidate struct {
	image                 int
	view, structure, soon int // 1 when they speak for it
	apart                 time.Duration
	why                   []string
}

func (c candidate) compare(o candidate) int {
	return cmp.Or(cmp.Compare(o.view+o.structure+o.soon, c.view+c.structure+c.soon), cmp.Compare(c.apart.Truncate(time.Second), o.apart.Truncate(time.Second)))
}

// likely finds the image that mode, view, structure and time speak for. The
// mode must fit, none of the others may contradict, and at least one of them
// must agree.
func (l *linker) likely(m *echo.Measurement) *echo.Link {
	modes := l.modes(m)
	if len(modes) == 0 {
		return nil
	}
	var all []candidate
	for n := range l.study.Images {
		if c, ok := l.candidate(n, m, modes); ok {
			all = append(all, c)
		}
	}
	slices.SortStableFunc(all, candidate.compare)
	if len(all) == 0 || len(all) > 1 && all[0].compare(all[1]) == 0 {
		return nil
	}
	best := all[0]
	image := &l.study.Images[best.image]
	return &echo.Link{Image: best.image, Region: l.region(image, m, nil), Inferred: true, Why: "same " + strings.Join(best.why, ", ")}
}

func (l *linker) candidate(n int, m *echo.Measurement, modes []string) (candidate, bool) {
	i := &l.study.Images[n]
	c := candidate{image: n, why: []string{"mode"}}
	if !i.IsAny(modes) || !holds(i, m) {
		return c, false
	}
	if v := m.Modifiers.ImageView; v != nil && i.View != nil && !i.View.Concept.IsZero() {
		if v.Concept.Key() != i.View.Concept.Key() {
			return c, false
		}
		c.view, c.why = 1, append(c.why, "view")
	}
	sites := structures(m)
	if len(sites) > 0 && len(i.Structures) > 0 {
		// The heart as a whole neither speaks for nor against a part of it.
		own := slices.DeleteFunc(keys(i.Structures), func(k coding.Key) bool { return k == heart })
		switch {
		case slices.ContainsFunc(own, func(k coding.Key) bool { return slices.Contains(sites, k) }):
			c.structure, c.why = 1, append(c.why, "structure")
		case len(own) > 0:
			return c, false
		}
	}
	if !m.ObservationDateTime.IsZero() && !i.Time.IsZero() {
		c.apart = m.ObservationDateTime.Sub(i.Time).Abs()
		if c.apart > nearby {
			return c, false
		}
		c.soon, c.why = 1, append(c.why, fmt.Sprintf("time within %d s", int(c.apart.Seconds())+1))
	}
	return c, c.view+c.structure+c.soon > 0
}

// holds reports whether a velocity can have been read off one of the image's
// spectra. Beyond one end of the scale it may have been read off a cut or wrapped
// envelope; one that is more than twice the whole scale belongs to another image.
// A spectrum without a scale cannot tell.
func holds(i *echo.Image, m *echo.Measurement) bool {
	cm, err := ucum.Parse("cm/s")
	if err != nil || !isVelocity(m) {
		return true
	}
	velocity, err := m.Quantity.Float(cm)
	if err != nil {
		return true
	}
	known := false
	for n := range i.Regions {
		v := i.Regions[n].Velocities
		if v == nil || v.High <= v.Low {
			continue
		}
		known = true
		if math.Abs(velocity) <= 2*(v.High-v.Low) {
			return true
		}
	}
	return !known
}

var heart = coding.Key{CodeValue: "80891009", CodingSchemeDesignator: "SCT"}

func structures(m *echo.Measurement) []coding.Key {
	var out []coding.Key
	for _, site := range []*echo.Modifier{m.Modifiers.FindingSite, m.SectionSite} {
		if site != nil {
			out = append(out, site.Concept.Key())
		}
	}
	return out
}

func keys(concepts []coding.CodedConcept) []coding.Key {
	var out []coding.Key
	for _, c := range concepts {
		out = append(out, c.Key())
	}
	return out
}
