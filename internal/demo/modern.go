package demo

// privateScheme is the modern maker's own coding scheme.
const privateScheme = "99PETRELLINE"

// petrelline is the modern scanner: Comprehensive SR after TID 5200 with
// current codes, UCUM units, all digits the scanner computed, image mode and
// view on each measurement, selection status, and codes of the maker's own
// for what the standard has none.
func petrelline() dialect {
	return dialect{
		name: "petrelline", maker: "Petrelline Imaging", model: "Petrel 9", software: "9.1.0", serial: "PI9-2041",
		sopClass: comprehensiveSR, template: "5200", charset: "ISO_IR 192",
		units: fullDigits(), write: writeModern,
	}
}

func fullDigits() map[kind]unitForm {
	plain := func(unit string) unitForm { return unitForm{ucumCode(unit), 1, -1} }
	return map[kind]unitForm{
		length: plain("cm"), area: plain("cm2"), volume: plain("ml"), bloodVelocity: plain("m/s"),
		tissueVelocity: plain("cm/s"), integral: plain("cm"), pressure: plain("mm[Hg]"), interval: plain("ms"),
		rate: plain("{H.B.}/min"), fraction: plain("%"), ratio: plain("1"), mass: plain("g"), output: plain("l/min"),
		volumeIndex: plain("ml/m2"), massIndex: plain("g/m2"), areaIndex: plain("cm2/m2"), lengthIndex: plain("mm/m2"), outputIndex: plain("l/min/m2"),
		surface: plain("m2"), stature: {ucumCode("cm"), 1, 0}, bodyMass: {ucumCode("kg"), 1, 1},
		years: {ucumCode("a"), 1, 0}, strainKind: plain("%"),
	}
}

func writeModern(d dialect, c *record) item {
	title, procedure := reportTitle, transthoracic
	if c.profile.extent == pediatric {
		title, procedure = childReportTitle, pediatricStudy
	}
	root := container("", title, d.heading(c)...)
	root.template = d.template
	if c.profile.extent == pediatric {
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

func (d dialect) modernSection(c *record, section term) (item, bool) {
	group := container(contains, measurementGroup)
	for _, r := range c.readings {
		if r.quantity.section != section {
			continue
		}
		for _, w := range spread(r) {
			group = group.with(d.modernItem(w))
		}
	}
	for _, own := range private {
		if own.section == section && c.has(own.needs...) && (own.kind != lengthIndex || c.subject.bodySurface > 0) {
			group = group.with(d.privateItem(c, own))
		}
	}
	words := d.words(c, section, finding)
	if len(group.children) == 0 && len(words) == 0 {
		return item{}, false
	}
	out := container(contains, findings, d.modifier(hasModifier, findingSite, section)...)
	if len(group.children) > 0 {
		out = out.with(group)
	}
	return out.with(words...), true
}

func (d dialect) modernItem(w written) item {
	q := w.quantity
	i := d.num(w.reading, q.concept5200(), w.value)
	i = i.with(d.modifier(hasModifier, measurementMethod, q.method)...)
	i = i.with(d.modifier(hasModifier, derivation, w.derivation)...)
	i = i.with(d.modifier(hasModifier, findingSite, q.site)...)
	i = i.with(d.modifier(hasModifier, flowDirection, q.flow)...)
	i = i.with(d.modifier(hasModifier, respiratoryPoint, w.respiration)...)
	i = i.with(d.modifier(hasModifier, cardiacPoint, q.phase)...)
	i = i.with(d.modifier(hasAcquisition, imageMode, q.mode)...)
	i = i.with(d.modifier(hasAcquisition, imageView, w.view)...)
	if w.chosen.value != "" {
		i = i.with(coded(hasProperty, selectionStatus, w.chosen))
	}
	if !w.mean || w.derivation == meanOf {
		i = i.with(w.score.items()...)
	}
	if w.image != nil && w.derivation == "" {
		i = i.with(w.image.reference(q, w.value))
	}
	return i
}

// own is a measurement under a code of the maker's own.
type own struct {
	value, meaning string
	section        term
	kind           kind
	needs          []string // measurands it is computed from
	compute        func(c *record) float64
}

// private lists what the standard has no code for. The site mapping that the
// demo writes beside the studies names the same codes.
var private = []own{
	{"RWT", "Relative wall thickness", leftVentricle, ratio,
		[]string{"left-ventricular-posterior-wall-thickness-diastole", "left-ventricular-internal-diameter-diastole"},
		func(c *record) float64 {
			return 2 * c.value("left-ventricular-posterior-wall-thickness-diastole") / c.value("left-ventricular-internal-diameter-diastole")
		}},
	{"EEAVG", "Mitral E over average annular e'", leftVentricle, ratio,
		[]string{"mitral-valve-e-wave-velocity", "mitral-annular-velocity-e-prime-septal", "mitral-annular-velocity-e-prime-lateral"},
		func(c *record) float64 {
			return 200 * c.value("mitral-valve-e-wave-velocity") / (c.value("mitral-annular-velocity-e-prime-septal") + c.value("mitral-annular-velocity-e-prime-lateral"))
		}},
	{"DVI", "Doppler velocity index", aorticValve, ratio,
		[]string{"lvot-velocity-time-integral", "aortic-valve-velocity-time-integral"},
		func(c *record) float64 {
			return c.value("lvot-velocity-time-integral") / c.value("aortic-valve-velocity-time-integral")
		}},
	{"TVANNI", "Tricuspid annulus by body surface area", tricuspidValve, lengthIndex,
		[]string{"tricuspid-annulus-diameter-diastole"},
		func(c *record) float64 {
			return 10 * c.value("tricuspid-annulus-diameter-diastole") / c.subject.bodySurface
		}},
}

func (d dialect) privateItem(c *record, o own) item {
	r := &reading{quantity: quantity{kind: o.kind}, scale: 1}
	return d.num(r, code{value: o.value, scheme: privateScheme, meaning: o.meaning}, o.compute(c))
}
