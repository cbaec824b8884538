package demo

// gullmere is the compact scanner: Simplified Adult Echo SR after TID 5300,
// display digits, short labels, by value only.
func gullmere() dialect {
	d := dialect{
		name: "gullmere", maker: "Gullmere Systems", model: "Gullmere S2", software: "2.7", serial: "GS2-0305",
		sopClass: simplifiedEchoSR, template: "5300", charset: "ISO_IR 192",
		units: fullDigits(), write: writeSimplified,
	}
	for k, form := range d.units {
		switch k {
		case length, area, areaIndex, bloodVelocity, ratio, output, outputIndex, surface:
			form.decimals = 2
		case interval, rate, stature, years:
			form.decimals = 0
		default:
			form.decimals = 1
		}
		d.units[k] = form
	}
	return d
}

// writeSimplified sorts the readings into pre- and post-coordinated
// measurements: a value with a view or a respiratory phase needs modifiers,
// which a pre-coordinated one may not have (TID 5301).
func writeSimplified(d dialect, c *record) item {
	root := container("", reportTitle, d.heading(c)...)
	root.template = d.template
	pre, post := container(contains, preCoordinated), container(contains, postCoordinated)
	for _, r := range c.readings {
		for _, w := range spread(r) {
			if r.quantity.core.value != "" && r.respiration == "" && r.quantity.measurand != jetVelocity {
				pre = pre.with(d.preItem(w))
			} else {
				post = post.with(d.postItem(w))
			}
		}
	}
	root = root.with(d.person(c), pre, post)
	var words []item
	for _, section := range sections {
		words = append(words, d.words(c, section, conclusion)...)
	}
	return root.with(d.closing(c).with(words...))
}

func (d dialect) preItem(w written) item {
	i := d.num(w.reading, w.quantity.core, w.value)
	if w.chosen.value != "" {
		i = i.with(coded(hasProperty, selectionStatus, w.chosen))
	}
	i = i.with(d.modifier(hasModifier, derivation, w.derivation)...)
	return i.with(text(hasProperty, shortLabel, w.quantity.label))
}

func (d dialect) postItem(w written) item {
	q := w.quantity
	site := q.site
	if site == "" {
		site = q.section
	}
	kind := dcmCode("125316", "Directly measured")
	if w.reading.derived {
		kind = dcmCode("125315", "Calculated")
	}
	i := d.num(w.reading, q.concept5200(), w.value,
		coded(hasModifier, observationType, q.observed()),
		coded(hasModifier, measurementType, kind))
	i = i.with(d.modifier(hasModifier, findingSite, site)...)
	if p := q.measuredProperty(); p.value != "" {
		i = i.with(coded(hasModifier, measuredProperty, p))
	}
	i = i.with(d.modifier(hasModifier, flowDirection, q.flow)...)
	i = i.with(d.modifier(hasModifier, cardiacPoint, q.phase)...)
	i = i.with(d.modifier(hasModifier, respiratoryPoint, w.respiration)...)
	i = i.with(d.modifier(hasModifier, measurementMethod, q.method)...)
	// Image mode and view stand as concept modifiers, as in PS3.17 CCCC.5.
	i = i.with(d.modifier(hasModifier, imageMode, q.mode)...)
	i = i.with(d.modifier(hasModifier, imageView, w.view)...)
	if w.chosen.value != "" {
		i = i.with(coded(hasProperty, selectionStatus, w.chosen))
	}
	i = i.with(d.modifier(hasModifier, derivation, w.derivation)...)
	return i.with(text(hasProperty, shortLabel, q.label))
}

// observed is the finding observation type, PS3.16 CID 12302.
func (q quantity) observed() code {
	switch q.kind {
	case length, area, volume, volumeIndex, mass, massIndex:
		return dcmCode("125311", "Structure of the Finding Site")
	case tissueVelocity, strainKind:
		return dcmCode("125312", "Behavior of the Finding Site")
	}
	return sct("44324008", "", "Hemodynamic Measurements")
}

// measuredProperty is the property, PS3.16 CID 12304.
func (q quantity) measuredProperty() code {
	switch q.kind {
	case length:
		return sct("81827009", "", "Diameter")
	case area:
		return sct("42798000", "", "Area")
	case volume, volumeIndex:
		return sct("118565006", "", "Volume")
	case bloodVelocity:
		return ln("20355-4", "Peak Blood Velocity")
	case integral:
		return ln("20354-7", "Velocity Time Integral")
	case pressure:
		return dcmCode("125329", "Peak Blood Pressure")
	case tissueVelocity:
		return dcmCode("125330", "Peak Tissue Velocity")
	}
	return code{}
}
