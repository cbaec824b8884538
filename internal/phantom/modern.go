package phantom

// privateScheme is the modern maker's own coding scheme.
const privateScheme = "99PETRELLINE"

// petrelline is the modern scanner: Comprehensive SR after TID 5200 with
// current codes, UCUM units, all digits the scanner computed, image mode and
// view on each measurement, selection status, and codes of the maker's own
// for what the standard has none.
func petrelline() Dialect {
	return Dialect{
		Name: "petrelline", maker: "Petrelline Imaging", model: "Petrel 9", Software: "9.1.0", serial: "PI9-2041",
		sopClass: comprehensiveSR, template: "5200", charset: "ISO_IR 192",
		Units: fullDigits(), Write: writeModern,
	}
}

func fullDigits() map[Kind]unitForm {
	plain := func(unit string) unitForm { return unitForm{UcumCode(unit), 1, -1} }
	return map[Kind]unitForm{
		Length: plain("cm"), Area: plain("cm2"), volume: plain("ml"), BloodVelocity: plain("m/s"),
		TissueVelocity: plain("cm/s"), Integral: plain("cm"), pressure: plain("mm[Hg]"), Interval: plain("ms"),
		rate: plain("{H.B.}/min"), Fraction: plain("%"), ratio: plain("1"), mass: plain("g"), output: plain("l/min"),
		volumeIndex: plain("ml/m2"), massIndex: plain("g/m2"), areaIndex: plain("cm2/m2"), lengthIndex: plain("mm/m2"), outputIndex: plain("l/min/m2"),
		surface: plain("m2"), Stature: {UcumCode("cm"), 1, 0}, BodyMass: {UcumCode("kg"), 1, 1},
		Years: {UcumCode("a"), 1, 0}, StrainKind: plain("%"),
	}
}

func writeModern(d Dialect, c *Record) Item {
	title, procedure := reportTitle, transthoracic
	if c.Profile.Extent == Pediatric {
		title, procedure = childReportTitle, pediatricStudy
	}
	root := container("", title, d.heading(c)...)
	root.template = d.template
	if c.Profile.Extent == Pediatric {
		root.template = "5220"
	}
	root = root.with(coded(contains, procedureReported, procedure))
	root = root.with(d.person(c))
	for _, section := range sections {
		if s, ok := d.modernSection(c, section); ok {
			root = root.with(s)
		}
	}
	return root.with(d.wallItems(c)...).with(d.closing(c))
}

func (d Dialect) modernSection(c *Record, section term) (Item, bool) {
	group := container(contains, measurementGroup)
	for _, r := range c.Readings {
		if r.Quantity.section != section {
			continue
		}
		for _, w := range spread(r) {
			group = group.with(d.modernItem(w))
		}
	}
	for _, own := range private {
		if own.section == section && c.Has(own.needs...) && (own.kind != lengthIndex || c.Subject.BodySurface > 0) {
			group = group.with(d.privateItem(c, own))
		}
	}
	words := d.words(c, section, finding)
	if len(group.children) == 0 && len(words) == 0 {
		return Item{}, false
	}
	out := container(contains, findings, d.modifier(hasModifier, findingSite, section)...)
	if len(group.children) > 0 {
		out = out.with(group)
	}
	return out.with(words...), true
}

func (d Dialect) modernItem(w written) Item {
	q := w.Quantity
	i := d.num(w.Reading, q.concept5200(), w.value)
	i = i.with(d.modifier(hasModifier, measurementMethod, q.method)...)
	i = i.with(d.modifier(hasModifier, derivation, w.derivation)...)
	i = i.with(d.modifier(hasModifier, findingSite, q.site)...)
	i = i.with(d.modifier(hasModifier, flowDirection, q.flow)...)
	i = i.with(d.modifier(hasModifier, respiratoryPoint, w.Respiration)...)
	i = i.with(d.modifier(hasModifier, cardiacPoint, q.phase)...)
	i = i.with(d.modifier(hasAcquisition, imageMode, q.mode)...)
	i = i.with(d.modifier(hasAcquisition, imageView, w.View)...)
	if w.chosen.value != "" {
		i = i.with(coded(hasProperty, selectionStatus, w.chosen))
	}
	if !w.Mean || w.derivation == meanOf {
		i = i.with(w.Score.items()...)
	}
	if w.Image != nil && w.derivation == "" {
		i = i.with(w.Image.reference(q, w.value))
	}
	return i
}

// own is a measurement under a code of the maker's own.
type own struct {
	value, meaning string
	section        term
	kind           Kind
	needs          []string // measurands it is computed from
	compute        func(c *Record) float64
}

// private lists what the standard has no code for. The site mapping that the
// demo writes beside the studies names the same codes.
var private = []own{
	{"RWT", "Relative wall thickness", LeftVentricle, ratio,
		[]string{"left-ventricular-posterior-wall-thickness-diastole", "left-ventricular-internal-diameter-diastole"},
		func(c *Record) float64 {
			return 2 * c.Value("left-ventricular-posterior-wall-thickness-diastole") / c.Value("left-ventricular-internal-diameter-diastole")
		}},
	{"EEAVG", "Mitral E over average annular e'", LeftVentricle, ratio,
		[]string{"mitral-valve-e-wave-velocity", "mitral-annular-velocity-e-prime-septal", "mitral-annular-velocity-e-prime-lateral"},
		func(c *Record) float64 {
			return 200 * c.Value("mitral-valve-e-wave-velocity") / (c.Value("mitral-annular-velocity-e-prime-septal") + c.Value("mitral-annular-velocity-e-prime-lateral"))
		}},
	{"DVI", "Doppler velocity index", aorticValve, ratio,
		[]string{"lvot-velocity-time-integral", "aortic-valve-velocity-time-integral"},
		func(c *Record) float64 {
			return c.Value("lvot-velocity-time-integral") / c.Value("aortic-valve-velocity-time-integral")
		}},
	{"TVANNI", "Tricuspid annulus by body surface area", TricuspidValve, lengthIndex,
		[]string{"tricuspid-annulus-diameter-diastole"},
		func(c *Record) float64 {
			return 10 * c.Value("tricuspid-annulus-diameter-diastole") / c.Subject.BodySurface
		}},
}

func (d Dialect) privateItem(c *Record, o own) Item {
	r := &Reading{Quantity: quantity{Kind: o.kind}, Scale: 1}
	return d.num(r, code{value: o.value, scheme: privateScheme, meaning: o.meaning}, o.compute(c))
}
