package ultrasound

import (
	"fmt"
	"math"

	"echotally/internal/dcm"
	"echotally/internal/echo"
)

var tagRegions = dcm.T(0x00186011)

// regions reads the Sequence of Ultrasound Regions (PS3.3 C.8.5.5).
func (r *reader) regions() {
	items := r.header.Sequence(tagRegions)
	for n, item := range items {
		region := r.rectangle(item)
		r.scales(item, &region)
		r.private(item, &region)
		r.image.Regions = append(r.image.Regions, region)
		r.place(n + 1)
	}
	calibrated := false
	for n := range r.image.Regions {
		region := &r.image.Regions[n]
		r.derive(items[n], region, n+1)
		calibrated = calibrated || region.Calibrated
	}
	for n, item := range items {
		r.sample(item, n)
	}
	r.conflicts()
	switch {
	case len(items) == 0:
		r.deviates(echo.Uncalibrated, 0, "no region calibration")
	case !calibrated:
		r.deviates(echo.Uncalibrated, 0, "none of the %d regions gives a scale", len(items))
	}
	r.depth()
}

func (r *reader) rectangle(d dcm.Dataset) echo.Region {
	integer := func(t uint32) int { return int(r0(d.Ints(dcm.T(t)))) }
	offset := func(t uint32) *int {
		values := d.Ints(dcm.T(t))
		if len(values) == 0 {
			return nil
		}
		v := int(values[0])
		return &v
	}
	return echo.Region{
		SpatialFormat: integer(0x00186012), DataType: integer(0x00186014), Flags: uint32(integer(0x00186016)),
		MinX: integer(0x00186018), MinY: integer(0x0018601A), MaxX: integer(0x0018601C), MaxY: integer(0x0018601E),
		ReferenceX: offset(0x00186020), ReferenceY: offset(0x00186022),
		UnitX: integer(0x00186024), UnitY: integer(0x00186026),
	}
}

func (r *reader) scales(d dcm.Dataset, region *echo.Region) {
	real := func(t uint32) float64 { return r0(d.Floats(dcm.T(t))) }
	region.ValueX, region.ValueY = real(0x00186028), real(0x0018602A)
	region.DeltaX, region.DeltaY = real(0x0018602C), real(0x0018602E)
	if v := d.Ints(dcm.T(0x00186030)); len(v) > 0 && v[0] > 0 {
		region.Frequency = number(float64(v[0]))
	}
	if v := d.Ints(dcm.T(0x00186032)); len(v) > 0 && v[0] > 0 {
		region.PulseRepetition = number(float64(v[0]))
	}
	if v := d.Floats(dcm.T(0x00186034)); len(v) > 0 && usable(v[0]) {
		region.CorrectionAngle = &v[0]
	}
	if v := d.Floats(dcm.T(0x00186036)); len(v) > 0 && usable(v[0]) {
		region.SteeringAngle = &v[0]
	}
}

func usable(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// edge is how many pixels a region may reach beyond the image: scanners write
// the number of columns where the last column is meant.
const edge = 1

// place checks the newest region's rectangle against the image.
func (r *reader) place(n int) {
	g, i := &r.image.Regions[n-1], r.image
	switch {
	case g.MaxX < g.MinX || g.MaxY < g.MinY || g.MinX < 0 || g.MinY < 0:
		r.deviates(echo.RegionOutside, n, "rectangle %d,%d to %d,%d has no area", g.MinX, g.MinY, g.MaxX, g.MaxY)
	case g.MinX >= i.Columns || g.MinY >= i.Rows || g.MaxX >= i.Columns+edge || g.MaxY >= i.Rows+edge:
		r.deviates(echo.RegionOutside, n, "rectangle %d,%d to %d,%d in an image of %d by %d: the image was probably resized, its scale is not used",
			g.MinX, g.MinY, g.MaxX, g.MaxY, i.Columns, i.Rows)
	default:
		g.Calibrated = true // until its scale proves unusable
		if g.MaxX >= i.Columns || g.MaxY >= i.Rows {
			r.deviates(echo.HeaderValueUnusual, n, "rectangle ends one pixel beyond the image of %d by %d", i.Columns, i.Rows)
		}
	}
}

// expected says which units belong to a format (PS3.3 C.8.5.5.1.15 leaves the
// combination open; these are the only ones with a meaning).
var expected = map[int][2]int{
	echo.Format2D: {echo.UnitCM, echo.UnitCM}, echo.FormatMMode: {echo.UnitSeconds, echo.UnitCM}, echo.FormatSpectral: {echo.UnitSeconds, echo.UnitCMPerS},
}

// derive works out what the region's scale tells.
func (r *reader) derive(d dcm.Dataset, g *echo.Region, n int) {
	want, scaled := expected[g.SpatialFormat]
	if !scaled {
		r.colourBar(g)
		g.Calibrated = g.Calibrated && g.SpatialFormat == echo.FormatWaveform && g.UnitX == echo.UnitSeconds && g.DeltaX != 0
		if g.Calibrated {
			g.Seconds = number(width(g) * math.Abs(g.DeltaX))
		}
		return
	}
	hertz := g.SpatialFormat == echo.FormatSpectral && g.UnitY == echo.UnitHertz
	if hertz {
		r.deviates(echo.FrequencyScaleOnly, n, "a spectrum in hertz; no velocity is worked out")
		want[1] = echo.UnitHertz
	}
	if g.UnitX != want[0] || g.UnitY != want[1] {
		r.deviates(echo.CombinationUnusual, n, "spatial format %d with units %d and %d", g.SpatialFormat, g.UnitX, g.UnitY)
		g.Calibrated = false
	}
	if !usable(g.DeltaX) || !usable(g.DeltaY) || g.DeltaX == 0 || g.DeltaY == 0 {
		r.deviates(echo.UnusualDirection, n, "a scale of zero or none")
		g.Calibrated = false
	}
	r.direction(g, n)
	if !g.Calibrated {
		return
	}
	if g.UnitX == echo.UnitSeconds {
		g.Seconds = number(width(g) * math.Abs(g.DeltaX))
		r.speed(g)
	}
	if g.SpatialFormat == echo.FormatSpectral && !hertz {
		r.spectrum(g, n)
	}
	if g.UnitY == echo.UnitCM && g.ReferenceY != nil && g.DeltaY > 0 {
		if depth := g.ValueY + float64(g.MaxY-g.MinY-*g.ReferenceY)*g.DeltaY; depth > 0 && depth <= deepest {
			g.Depth = &depth
		} else {
			r.deviates(echo.HeaderValueUnusual, n, "a depth of %.1f cm, which no transthoracic picture has", depth)
		}
	}
	if g.SpatialFormat == echo.Format2D && g.DataType == echo.DataColour {
		r.colours(d, g)
	}
}

// deepest is beyond what any scanner shows of a heart, in cm.
const deepest = 40

func width(g *echo.Region) float64 { return float64(g.MaxX - g.MinX + 1) }

// direction tells scales that run against what is usual. They are used as they
// stand: a length does not change with the direction.
func (r *reader) direction(g *echo.Region, n int) {
	if g.DeltaX < 0 {
		r.deviates(echo.UnusualDirection, n, "the horizontal scale runs to the left (%g per pixel)", g.DeltaX)
	}
	spectral := g.SpatialFormat == echo.FormatSpectral
	if spectral && g.DeltaY > 0 {
		r.deviates(echo.UnusualDirection, n, "velocities grow downwards (%g per pixel)", g.DeltaY)
	}
	if !spectral && g.DeltaY < 0 {
		r.deviates(echo.UnusualDirection, n, "depth grows upwards (%g per pixel)", g.DeltaY)
	}
}

// speed is how fast a trace moves on a medium whose pixel size the header
// gives (Nominal Scanned Pixel Spacing, mm down and across). Pixel Spacing is
// a size in the patient and says nothing of it.
func (r *reader) speed(g *echo.Region) {
	if pixel := r.decimals(dcm.T(0x00182010)); len(pixel) == 2 && pixel[1] > 0 {
		g.SweepSpeed = number(pixel[1] / math.Abs(g.DeltaX))
	}
}

// spectrum works out the velocities at the first and the last row.
func (r *reader) spectrum(g *echo.Region, n int) {
	if g.ReferenceY == nil {
		r.deviates(echo.BaselineUnknown, n, "a spectrum without reference pixel: its zero line is not known")
		return
	}
	top, bottom := edges(g)
	g.Velocities = &echo.Span{Low: min(top, bottom), High: max(top, bottom)}
	if rows := float64(g.MaxY - g.MinY); rows > 0 {
		zero := float64(*g.ReferenceY) - g.ValueY/g.DeltaY
		g.Baseline = number((rows - zero) / rows)
		if *g.Baseline < 0 || *g.Baseline > 1 {
			r.deviates(echo.BaselineUnknown, n, "the zero line lies outside the region")
		}
	}
}

// edges are the values of the first and the last row.
func edges(g *echo.Region) (top, bottom float64) {
	top = g.ValueY - float64(*g.ReferenceY)*g.DeltaY
	return top, top + float64(g.MaxY-g.MinY)*g.DeltaY
}

// sound is the speed of sound in tissue that scanners reckon with, in cm/s.
const sound = 154000

// colours finds the velocity range of a colour region: from its pixel
// calibration, otherwise from repetition and transmit frequency by the Nyquist
// relation v = c PRF / (4 f).
func (r *reader) colours(d dcm.Dataset, g *echo.Region) {
	const velocity = 3 // Pixel Component Data Type: colour flow velocity
	unit, kind := r0(d.Ints(dcm.T(0x0018604C))), r0(d.Ints(dcm.T(0x0018604E)))
	if unit == echo.UnitCMPerS && kind == velocity {
		highest := 0.0
		for _, t := range []uint32{0x00186054, 0x0018605A} {
			for _, v := range d.Floats(dcm.T(t)) {
				highest = max(highest, math.Abs(v))
			}
		}
		if highest > 0 {
			g.ColourScale = &highest
			return
		}
	}
	if g.PulseRepetition != nil && g.Frequency != nil {
		g.ColourScale, g.ColourReckons = number(sound**g.PulseRepetition/(4**g.Frequency*1000)), true
	}
}

// colourBar reads the scale beside the colours, when it is one of velocity.
func (r *reader) colourBar(g *echo.Region) {
	if g.DataType != echo.DataColourBar || g.UnitY != echo.UnitCMPerS || g.ReferenceY == nil || g.DeltaY == 0 || !g.Calibrated {
		return
	}
	top, bottom := edges(g)
	g.ColourScale = number(max(math.Abs(top), math.Abs(bottom)))
}

// sample finds how deep the Doppler sample lies. Its position counts in pixels
// from a reference pixel, which must be that of a 2D region, for only there a
// pixel is a place in the body. A 2D region that states a position means its
// own; a spectrum means the one of the 2D picture beside it, which is usable
// when all 2D regions share it. Positions of the earlier edition (unsigned) are
// read when the present ones are absent.
func (r *reader) sample(d dcm.Dataset, n int) {
	g := &r.image.Regions[n]
	x, y := d.Ints(dcm.T(0x00186039)), d.Ints(dcm.T(0x0018603B))
	if len(x) == 0 {
		x, y = d.Ints(dcm.T(0x00186038)), d.Ints(dcm.T(0x0018603A))
	}
	if len(x) == 0 || len(y) == 0 {
		return
	}
	at := g
	if g.SpatialFormat != echo.Format2D {
		at = r.onlyPicture()
	}
	if at == nil || !at.Calibrated || at.ReferenceX == nil || at.ReferenceY == nil {
		r.deviates(echo.SamplePlaceUnclear, n+1, "a sample position, but no single calibrated 2D region it can count from")
		return
	}
	across, down := float64(int32(x[0])), float64(int32(y[0])) // the unsigned form wraps negative offsets
	if !at.Contains(float64(at.MinX+*at.ReferenceX)+across, float64(at.MinY+*at.ReferenceY)+down) {
		r.deviates(echo.SamplePlaceUnclear, n+1, "the sample position lies outside the 2D region")
		return
	}
	g.SampleDepth = number(math.Hypot(at.ValueX+across*at.DeltaX, at.ValueY+down*at.DeltaY))
}

// onlyPicture is the calibrated 2D region of the image, nil when there is none
// or several that differ.
func (r *reader) onlyPicture() *echo.Region {
	var found *echo.Region
	for i := range r.image.Regions {
		g := &r.image.Regions[i]
		if g.SpatialFormat != echo.Format2D || !g.Calibrated {
			continue
		}
		if found != nil && (!SameScale(found, g) || found.MinX != g.MinX || found.MinY != g.MinY || !sameOffset(found.ReferenceX, g.ReferenceX) || !sameOffset(found.ReferenceY, g.ReferenceY)) {
			return nil
		}
		found = g
	}
	return found
}

func sameOffset(a, b *int) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }

// conflicts tells calibrated regions that overlap and do not agree on the
// scale: a caliper there could mean two things.
func (r *reader) conflicts() {
	list := r.image.Regions
	for i := range list {
		for j := i + 1; j < len(list); j++ {
			a, b := &list[i], &list[j]
			if !a.Calibrated || !b.Calibrated || !overlap(a, b) || SameScale(a, b) {
				continue
			}
			r.deviates(echo.RegionsConflict, j+1, "overlaps region %d, which has another scale", i+1)
		}
	}
}

// overlap allows for a shared border.
func overlap(a, b *echo.Region) bool {
	return min(a.MaxX, b.MaxX)-max(a.MinX, b.MinX) > edge && min(a.MaxY, b.MaxY)-max(a.MinY, b.MinY) > edge
}

// SameScale reports whether two regions are measured in by the same scale.
func SameScale(a, b *echo.Region) bool {
	return a.UnitX == b.UnitX && a.UnitY == b.UnitY && near(a.DeltaX, b.DeltaX) && near(a.DeltaY, b.DeltaY)
}

// near allows one percent, more than any rounding of a scale.
func near(a, b float64) bool { return math.Abs(math.Abs(a)-math.Abs(b)) <= 0.01*math.Abs(a) }

// depth is that of the deepest 2D region, otherwise what the header says of the
// scan field (in mm).
func (r *reader) depth() {
	for i := range r.image.Regions {
		g := &r.image.Regions[i]
		if g.SpatialFormat == echo.Format2D && g.Depth != nil && (r.image.Depth == nil || *g.Depth > *r.image.Depth) {
			r.image.Depth = g.Depth
		}
	}
	if field := r.header.Ints(dcm.T(0x00185050)); r.image.Depth == nil && len(field) > 0 && field[0] > 0 {
		r.image.Depth = number(float64(field[0]) / 10)
	}
}

// spacing holds Pixel Spacing, a size in the patient, against the 2D regions,
// and tells spectra whose angle was corrected.
func (r *reader) spacing() {
	pair := r.decimals(tagPixelSpacing)
	if len(pair) == 2 {
		r.image.PixelSpacing = pair
	}
	agrees, compared := false, 0
	for i := range r.image.Regions {
		g := &r.image.Regions[i]
		if g.SpatialFormat == echo.FormatSpectral && g.CorrectionAngle != nil && *g.CorrectionAngle != 0 {
			r.deviates(echo.AngleCorrected, i+1, "velocities corrected for an angle of %g degrees", *g.CorrectionAngle)
		}
		if g.SpatialFormat == echo.Format2D && g.Calibrated && len(pair) == 2 {
			compared++
			agrees = agrees || near(pair[0]/10, g.DeltaY) && near(pair[1]/10, g.DeltaX)
		}
	}
	if compared > 0 && !agrees {
		r.deviates(echo.PixelSpacingDiffers, 0, "pixel spacing %v mm and no 2D region with that scale", fmt.Sprint(pair))
	}
}
