package phantom

// oldbarrow is the older scanner: Comprehensive SR after TID 5200 with legacy
// SNOMED identifiers, the retired title of sections, spellings of units that
// are no UCUM, millimetres and centimetres per second, the image view on the
// measurement group, beats and means, and no coded rhythm.
func oldbarrow() Dialect {
	spelled := func(unit, meaning string) code { return code{value: unit, scheme: "UCUM", meaning: meaning} }
	return Dialect{
		Name: "oldbarrow", maker: "Oldbarrow Instruments", model: "Barrow 400", Software: "4.2.1", serial: "OB400-0017",
		sopClass: comprehensiveSR, template: "5200", Implicit: true, charset: "ISO_IR 100", legacy: true,
		Units: map[Kind]unitForm{
			Length:         {spelled("mm", "millimeter"), 10, 1},
			Area:           {spelled("cm2", "cm2"), 1, 2},
			volume:         {spelled("ml", "ml"), 1, 1},
			BloodVelocity:  {spelled("cm/s", "cm/s"), 100, 1},
			TissueVelocity: {spelled("cm/s", "cm/s"), 1, 1},
			Integral:       {spelled("cm", "cm"), 1, 1},
			pressure:       {spelled("mmHg", "mmHg"), 1, 1},
			Interval:       {spelled("ms", "ms"), 1, 0},
			rate:           {spelled("bpm", "beats per minute"), 1, 0},
			Fraction:       {spelled("%", "percent"), 1, 1},
			ratio:          {spelled("1", "no units"), 1, 2},
			mass:           {spelled("g", "g"), 1, 1},
			output:         {spelled("l/min", "l/min"), 1, 2},
			volumeIndex:    {spelled("ml/m2", "ml/m2"), 1, 1},
			massIndex:      {spelled("g/m2", "g/m2"), 1, 1},
			areaIndex:      {spelled("cm2/m2", "cm2/m2"), 1, 2},
			outputIndex:    {spelled("l/min/m2", "l/min/m2"), 1, 2},
			surface:        {spelled("m2", "m2"), 1, 2},
			Stature:        {spelled("cm", "cm"), 1, 0},
			BodyMass:       {spelled("kg", "kg"), 1, 1},
			Years:          {spelled("a", "year"), 1, 0},
			StrainKind:     {spelled("%", "percent"), 1, 1},
		},
		Write: writeLegacy,
	}
}

// writeLegacy groups by image mode and view within each section.
func writeLegacy(d Dialect, c *Record) Item {
	root := container("", reportTitle, d.heading(c)...)
	root.template = d.template
	root = root.with(d.person(c))
	for _, section := range sections {
		if s, ok := d.legacySection(c, section); ok {
			root = root.with(s)
		}
	}
	return root.with(d.wallItems(c)...).with(d.closing(c))
}

// groupKey is what the items of one measurement group share.
type groupKey struct{ mode, view term }

func (d Dialect) legacyGroup(k groupKey, items []Item) Item {
	group := container(contains, measurementGroup, d.modifier(hasModifier, imageMode, k.mode)...)
	return group.with(d.modifier(hasAcquisition, imageView, k.view)...).with(items...)
}

func (d Dialect) legacySection(c *Record, section term) (Item, bool) {
	var order []groupKey
	groups := map[groupKey][]Item{}
	for _, r := range c.Readings {
		if r.Quantity.section != section {
			continue
		}
		k := groupKey{r.Quantity.mode, r.View}
		if _, seen := groups[k]; !seen {
			order = append(order, k)
		}
		for _, w := range spread(r) {
			groups[k] = append(groups[k], d.legacyItem(w))
		}
	}
	words := d.words(c, section, finding)
	if len(order) == 0 && len(words) == 0 {
		return Item{}, false
	}
	out := container(contains, oldFindings, d.modifier(hasModifier, findingSite, section)...)
	for _, k := range order {
		out = out.with(d.legacyGroup(k, groups[k]))
	}
	for _, r := range c.Readings {
		for range r.Copies {
			if w := spread(r); r.Quantity.section == section {
				out = out.with(d.legacyGroup(groupKey{r.Quantity.mode, r.View}, []Item{d.legacyItem(w[len(w)-1])}))
			}
		}
	}
	return out.with(words...), true
}

func (d Dialect) legacyItem(w written) Item {
	q := w.Quantity
	i := d.num(w.Reading, q.concept5200(), w.value)
	i = i.with(d.modifier(hasModifier, measurementMethod, q.method)...)
	i = i.with(d.modifier(hasModifier, derivation, w.derivation)...)
	i = i.with(d.modifier(hasModifier, findingSite, q.site)...)
	i = i.with(d.modifier(hasModifier, flowDirection, q.flow)...)
	i = i.with(d.modifier(hasModifier, respiratoryPoint, w.Respiration)...)
	return i.with(d.modifier(hasModifier, cardiacPoint, q.phase)...)
}

// concept5200 is the concept name in a TID 5200 report. CID 12300 fills what
// the older groups lack.
func (q quantity) concept5200() code {
	if q.concept.value != "" {
		return q.concept
	}
	return q.core
}
