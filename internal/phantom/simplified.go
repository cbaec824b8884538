package phantom

// gullmere is the compact scanner: Simplified Adult Echo SR after TID 5300,
// display digits, short labels, by value only.
func gullmere() Dialect {
	d := Dialect{
		Name: "gullmere", maker: "Gullmere Systems", model: "Gullmere S2", Software: "2.7", serial: "GS2-0305",
		sopClass: simplifiedEchoSR, template: "5300", charset: "ISO_IR 192",
		Units: fullDigits(), Write: writeSimplified,
	}
	for k, form := range d.Units {
		switch k {
		case Length, Area, areaIndex, BloodVelocity, ratio, output, outputIndex, surface:
			form.Decimals = 2
		case Interval, rate, Stature, Years:
			form.Decimals = 0
		default:
			form.Decimals = 1
		}
		d.Units[k] = form
	}
	return d
}

// writeSimplified sorts the readings into pre- and post-coordinated
// measurements: a value with a view or a respiratory phase needs modifiers,
// which a pre-coordinated one may not have (TID 5301).
func writeSimplified(d Dialect, c *Record) Item {
	root := container("", reportTitle, d.heading(c)...)
	root.template = d.template
	pre, post := container(contains, preCoordinated), container(contains, postCoordinated)
	for _, r := range c.Readings {
		for _, w := range spread(r) {
			if r.Quantity.core.value != "" && r.Respiration == "" && r.Quantity.Measurand != JetVelocity {
				pre = pre.with(d.preItem(w))
			} else {
				post = post.with(d.postItem(w))
			}
		}
	}
	root = root.with(d.person(c), pre, post)
	var words []Item
	for _, section := range sections {
		words = append(words, d.words(c, section, conclusion)...)
	}
	return root.with(d.closing(c).with(words...))
}

func (d Dialect) preItem(w written) Item {
	i := d.num(w.Reading, w.Quantity.core, w.value)
	if w.chosen.value != "" {
		i = i.with(coded(hasProperty, selectionStatus, w.chosen))
	}
	i = i.with(d.modifier(hasModifier, derivation, w.derivation)...)
	return i.with(text(hasProperty, shortLabel, w.Quantity.Label))
}

func (d Dialect) postItem(w written) Item {
	q := w.Quantity
	site := q.site
	if site == "" {
		site = q.section
	}
	kind := DcmCode("125316", "Directly measured")
	if w.Reading.Derived {
		kind = DcmCode("125315", "Calculated")
	}
	i := d.num(w.Reading, q.concept5200(), w.value,
		coded(hasModifier, observationType, q.observed()),
		coded(hasModifier, measurementType, kind))
	i = i.with(d.modifier(hasModifier, findingSite, site)...)
	if p := q.measuredProperty(); p.value != "" {
		i = i.with(coded(hasModifier, measuredProperty, p))
	}
	i = i.with(d.modifier(hasModifier, flowDirection, q.flow)...)
	i = i.with(d.modifier(hasModifier, cardiacPoint, q.phase)...)
	i = i.with(d.modifier(hasModifier, respiratoryPoint, w.Respiration)...)
	i = i.with(d.modifier(hasModifier, measurementMethod, q.method)...)
	// Image mode and view stand as concept modifiers, as in PS3.17 CCCC.5.
	i = i.with(d.modifier(hasModifier, imageMode, q.mode)...)
	i = i.with(d.modifier(hasModifier, imageView, w.View)...)
	if w.chosen.value != "" {
		i = i.with(coded(hasProperty, selectionStatus, w.chosen))
	}
	i = i.with(d.modifier(hasModifier, derivation, w.derivation)...)
	return i.with(text(hasProperty, shortLabel, q.Label))
}

// observed is the finding observation type, PS3.16 CID 12302.
func (q quantity) observed() code {
	switch q.Kind {
	case Length, Area, volume, volumeIndex, mass, massIndex:
		return DcmCode("125311", "Structure of the Finding Site")
	case TissueVelocity, StrainKind:
		return DcmCode("125312", "Behavior of the Finding Site")
	}
	return sct("44324008", "", "Hemodynamic Measurements")
}

// measuredProperty is the property, PS3.16 CID 12304.
func (q quantity) measuredProperty() code {
	switch q.Kind {
	case Length:
		return sct("81827009", "", "Diameter")
	case Area:
		return sct("42798000", "", "Area")
	case volume, volumeIndex:
		return sct("118565006", "", "Volume")
	case BloodVelocity:
		return ln("20355-4", "Peak Blood Velocity")
	case Integral:
		return ln("20354-7", "Velocity Time Integral")
	case pressure:
		return DcmCode("125329", "Peak Blood Pressure")
	case TissueVelocity:
		return DcmCode("125330", "Peak Tissue Velocity")
	}
	return code{}
}
