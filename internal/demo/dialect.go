package demo

import (
	"math"
	"strconv"
	"strings"
)

// dialect is the way one invented scanner writes a record.
type dialect struct {
	name               string
	maker, model       string
	software, serial   string
	sopClass, template string
	implicit           bool   // implicit little endian
	charset            string // Specific Character Set
	legacy             bool   // SNOMED identifiers of the older form
	units              map[kind]unitForm
	write              func(dialect, *record) item
}

// unitForm is how a dialect writes a kind of quantity: the factor from the
// model's unit, and the decimals shown (-1: all the scanner computed).
type unitForm struct {
	unit     code
	factor   float64
	decimals int
}

// dialects are the laboratory's three scanners and its child reports.
func dialects() []dialect { return []dialect{oldbarrow(), petrelline(), gullmere()} }

func dialectNamed(name string) dialect {
	for _, d := range dialects() {
		if d.name == name {
			return d
		}
	}
	panic("internal error: no demo dialect " + name)
}

// spell gives the concept in the dialect's spelling of SNOMED.
func (d dialect) spell(c code) code {
	if d.legacy && c.legacy != "" {
		return code{value: c.legacy, scheme: "SRT", meaning: c.meaning}
	}
	return c
}

// number renders a value of a reading with its unit.
func (d dialect) number(r *reading, value float64) (string, *code) {
	form := d.units[r.quantity.kind]
	scaled := value * form.factor * r.scale
	unit := form.unit
	if r.unit != nil {
		unit = *r.unit
	}
	shown := decimal(scaled, form.decimals)
	if r.unitless {
		return shown, nil
	}
	return shown, &unit
}

// decimal renders a number in at most 16 characters, as the VR DS asks.
func decimal(value float64, decimals int) string {
	if decimals >= 0 {
		// Half away from zero, as scanners' displays do.
		step := math.Pow(10, float64(decimals))
		return strconv.FormatFloat(math.Round(value*step)/step, 'f', decimals, 64)
	}
	for digits := 14; ; digits-- {
		s := strconv.FormatFloat(value, 'g', digits, 64)
		if len(s) <= 16 {
			return s
		}
	}
}

// num writes one value of a reading with modifiers.
func (d dialect) num(r *reading, name code, value float64, modifiers ...item) item {
	i := item{relation: contains, valueType: "NUM", name: d.spell(name), children: modifiers, measurand: r.quantity.measurand}
	if !r.empty {
		i.number, i.unit = d.number(r, value)
	}
	if r.qualifier != nil {
		i.qualifier = r.qualifier
	}
	return i
}

// modifier writes a coded modifier when the term is not empty.
func (d dialect) modifier(relation string, name code, value term) []item {
	if value == "" {
		return nil
	}
	c, ok := terms[value]
	if !ok {
		panic("internal error: demo term without a code: " + string(value))
	}
	return []item{coded(relation, d.spell(name), d.spell(c))}
}

// heading is the part that every report begins with: language and who made it.
func (d dialect) heading(c *record) []item {
	sonographer := c.sonographer
	if sonographer == "" {
		sonographer = "Demo^Sonographer"
	}
	return []item{
		coded(hasModifier, languageName, english, coded(hasModifier, countryName, unitedKingdom)),
		coded(hasContext, observerType, personObserver),
		{relation: hasContext, valueType: "PNAME", name: personName, text: sonographer},
		coded(hasContext, roleInProcedure, performing),
		coded(hasContext, observerType, deviceObserver),
		{relation: hasContext, valueType: "UIDREF", name: deviceUID, text: uid("device", d.model)},
		text(hasContext, deviceName, strings.ToUpper(d.name)+"-1"),
		text(hasContext, deviceManufacturer, d.maker),
		text(hasContext, deviceModel, d.model),
	}
}

// person is the patient characteristics container (TID 5201).
func (d dialect) person(c *record) item {
	s := c.subject
	formula := dcmCode("122241", "BSA = 0.007184*WT^0.425*HT^0.725")
	if c.profile.extent == pediatric {
		formula = dcmCode("122243", "BSA = 0.024265*WT^0.5378*HT^0.3964")
	}
	sex := dcmCode("F", "Female")
	if s.sex == "M" {
		sex = dcmCode("M", "Male")
	}
	plain := func(name code, k kind, value float64, children ...item) item {
		r := &reading{quantity: quantity{kind: k}, scale: 1}
		if name == surfaceArea {
			r.quantity.measurand = "body-surface-area"
		}
		return d.num(r, name, value, children...)
	}
	out := container(contains, characteristics, plain(subjectAge, years, s.age), coded(contains, subjectSex, sex))
	if s.height > 0 {
		out = out.with(
			plain(patientHeight, stature, s.height),
			plain(patientWeight, bodyMass, s.weight),
			plain(surfaceArea, surface, s.bodySurface, coded(inferredFrom, surfaceFormula, formula)),
		)
	}
	return out.with(
		plain(ln("8867-4", "Heart rate"), rate, s.heartRate),
		plain(systolicPressure, pressure, s.systolic),
		plain(diastolicPressure, pressure, s.diastolic),
	)
}

// words writes the remarks of a section as findings.
func (d dialect) words(c *record, section term, name code) []item {
	var out []item
	for _, r := range c.remarks {
		if r.section != section {
			continue
		}
		if r.code != nil {
			out = append(out, coded(contains, finding, d.spell(*r.code)))
		}
		if r.text != "" {
			out = append(out, text(contains, name, r.text))
		}
	}
	return out
}

// closing is the conclusions container with the coded rhythm.
func (d dialect) closing(c *record) item {
	var items []item
	if c.rhythm != nil && !d.legacy {
		items = append(items, coded(contains, finding, *c.rhythm))
	}
	return container(contains, conclusions, append(items, d.words(c, "", conclusion)...)...)
}

// sections lists the sections in the order of TID 5200.
var sections = []term{
	leftVentricle, rightVentricle, leftAtrium, rightAtrium, aorticValve, mitralValve, pulmonaryValve, tricuspidValve,
	aorta, pulmonaryArtery, cava, hepaticVein, pulmonaryVein, pericardium,
}

// written is one value of a reading, to be grouped and written.
type written struct {
	*reading
	value      float64
	derivation term
	chosen     code
}

// spread gives the values of a reading one by one: the beats and their mean.
func spread(r *reading) []written {
	var out []written
	for _, v := range r.values {
		out = append(out, written{reading: r, value: v, derivation: r.derivation})
	}
	if r.mean {
		out = append(out, written{reading: r, value: r.value(), derivation: meanOf, chosen: meanChosen})
	} else if r.chosen {
		out[len(out)-1].chosen = userChosen
	}
	return out
}
