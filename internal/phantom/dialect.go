package phantom

import (
	"math"
	"strconv"
	"strings"
)

// Dialect is the way one invented scanner writes a record.
type Dialect struct {
	Name               string
	maker, model       string
	Software, serial   string
	sopClass, template string
	Implicit           bool   // implicit little endian
	charset            string // Specific Character Set
	legacy             bool   // SNOMED identifiers of the older form
	Units              map[Kind]unitForm
	Write              func(Dialect, *Record) Item
}

// unitForm is how a dialect writes a kind of quantity: the factor from the
// model's unit, and the decimals shown (-1: all the scanner computed).
type unitForm struct {
	unit     code
	Factor   float64
	Decimals int
}

// Dialects are the laboratory's three scanners and its child reports.
func Dialects() []Dialect { return []Dialect{oldbarrow(), petrelline(), gullmere()} }

// DialectNamed is the dialect of a name, which must be known.
func DialectNamed(name string) Dialect {
	for _, d := range Dialects() {
		if d.Name == name {
			return d
		}
	}
	panic("internal error: no demo dialect " + name)
}

// spell gives the concept in the dialect's spelling of SNOMED.
func (d Dialect) spell(c code) code {
	if d.legacy && c.legacy != "" {
		return code{value: c.legacy, scheme: "SRT", meaning: c.meaning}
	}
	return c
}

// number renders a value of a reading with its unit.
func (d Dialect) number(r *Reading, value float64) (string, *code) {
	form := d.Units[r.Quantity.Kind]
	scaled := value * form.Factor * r.Scale
	unit := form.unit
	if r.Unit != nil {
		unit = *r.Unit
	}
	shown := Decimal(scaled, form.Decimals)
	if r.Unitless {
		return shown, nil
	}
	return shown, &unit
}

// Decimal renders a number in at most 16 characters, as the VR DS asks.
func Decimal(value float64, decimals int) string {
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
func (d Dialect) num(r *Reading, name code, value float64, modifiers ...Item) Item {
	i := Item{relation: contains, valueType: "NUM", name: d.spell(name), children: modifiers, measurand: r.Quantity.Measurand}
	if !r.Empty {
		i.number, i.unit = d.number(r, value)
	}
	if r.Qualifier != nil {
		i.qualifier = r.Qualifier
	}
	return i
}

// modifier writes a coded modifier when the term is not empty.
func (d Dialect) modifier(relation string, name code, value term) []Item {
	if value == "" {
		return nil
	}
	c, ok := terms[value]
	if !ok {
		panic("internal error: demo term without a code: " + string(value))
	}
	return []Item{coded(relation, d.spell(name), d.spell(c))}
}

// heading is the part that every report begins with: language and who made it.
func (d Dialect) heading(c *Record) []Item {
	sonographer := c.Sonographer
	if sonographer == "" {
		sonographer = "Demo^Sonographer"
	}
	return []Item{
		coded(hasModifier, languageName, english, coded(hasModifier, countryName, unitedKingdom)),
		coded(hasContext, observerType, personObserver),
		{relation: hasContext, valueType: "PNAME", name: personName, text: sonographer},
		coded(hasContext, roleInProcedure, performing),
		coded(hasContext, observerType, deviceObserver),
		{relation: hasContext, valueType: "UIDREF", name: deviceUID, text: Uid("device", d.model)},
		text(hasContext, deviceName, strings.ToUpper(d.Name)+"-1"),
		text(hasContext, deviceManufacturer, d.maker),
		text(hasContext, deviceModel, d.model),
	}
}

// person is the patient characteristics container (TID 5201).
func (d Dialect) person(c *Record) Item {
	s := c.Subject
	formula := DcmCode("122241", "BSA = 0.007184*WT^0.425*HT^0.725")
	if c.Profile.Extent == Pediatric {
		formula = DcmCode("122243", "BSA = 0.024265*WT^0.5378*HT^0.3964")
	}
	sex := DcmCode("F", "Female")
	if s.Sex == "M" {
		sex = DcmCode("M", "Male")
	}
	plain := func(name code, k Kind, value float64, children ...Item) Item {
		r := &Reading{Quantity: quantity{Kind: k}, Scale: 1}
		if name == surfaceArea {
			r.Quantity.Measurand = "body-surface-area"
		}
		return d.num(r, name, value, children...)
	}
	out := container(contains, characteristics, plain(subjectAge, Years, s.Age), coded(contains, subjectSex, sex))
	if s.Height > 0 {
		out = out.with(
			plain(patientHeight, Stature, s.Height),
			plain(patientWeight, BodyMass, s.Weight),
			plain(surfaceArea, surface, s.BodySurface, coded(inferredFrom, surfaceFormula, formula)),
		)
	}
	return out.with(
		plain(ln("8867-4", "Heart rate"), rate, s.HeartRate),
		plain(systolicPressure, pressure, s.Systolic),
		plain(diastolicPressure, pressure, s.Diastolic),
	)
}

// words writes the remarks of a section as findings.
func (d Dialect) words(c *Record, section term, name code) []Item {
	var out []Item
	for _, r := range c.Remarks {
		if r.Section != section {
			continue
		}
		if r.code != nil {
			out = append(out, coded(contains, finding, d.spell(*r.code)))
		}
		if r.Text != "" {
			out = append(out, text(contains, name, r.Text))
		}
	}
	return out
}

// closing is the conclusions container with the coded rhythm.
func (d Dialect) closing(c *Record) Item {
	var items []Item
	if c.rhythm != nil && !d.legacy {
		items = append(items, coded(contains, finding, *c.rhythm))
	}
	return container(contains, conclusions, append(items, d.words(c, "", conclusion)...)...)
}

// sections lists the sections in the order of TID 5200.
var sections = []term{
	LeftVentricle, rightVentricle, leftAtrium, rightAtrium, aorticValve, mitralValve, pulmonaryValve, TricuspidValve,
	aorta, pulmonaryArtery, cava, hepaticVein, pulmonaryVein, pericardium,
}

// written is one value of a reading, to be grouped and written.
type written struct {
	*Reading
	value      float64
	derivation term
	chosen     code
}

// spread gives the values of a reading one by one: the beats and their mean.
func spread(r *Reading) []written {
	var out []written
	for _, v := range r.Values {
		out = append(out, written{Reading: r, value: v, derivation: r.derivation})
	}
	if r.Mean {
		out = append(out, written{Reading: r, value: r.Value(), derivation: meanOf, chosen: meanChosen})
	} else if r.Chosen {
		out[len(out)-1].chosen = userChosen
	}
	return out
}
