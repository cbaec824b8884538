package rule

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/datafile/written"
	"echotally/internal/ucum"
)

// Parameter is a number of a rule, possibly different by sex, age and edition.
type Parameter struct {
	Name  string
	Unit  ucum.Unit
	Value ucum.Decimal // zero when only cases are given
	Cases []Case
}

// Case is the value for some patients.
type Case struct {
	Sex     string // "" any
	Age     Ages
	Edition string // "" any
	Value   ucum.Decimal
}

// Ages is a range of ages in years, ends included; nil is open.
type Ages struct {
	Low, High *float64
}

// Any reports whether the range holds every age.
func (a Ages) Any() bool { return a.Low == nil && a.High == nil }

// Editions of the guidelines a parameter may depend on: the American and
// European ones by year, those of the British society with its name before it.
// Where an edition gives no number, that of DefaultEdition judges.
var Editions = []string{"2015", "2025", "bse-2020"}

// the three origins that are no citation.
var plainOrigins = []string{"common practice", "site choice", "from memory"}

func (c *compilation) parameters() {
	for _, name := range sortedKeys(c.file.Parameters) {
		p := c.file.Parameters[name]
		path := "$.parameters." + name
		c.name(path, name)
		out := &Parameter{Name: name, Unit: c.unit(path+".unit", p.Unit)}
		c.origin(path, p.Origin)
		if p.Value != "" {
			out.Value = c.decimal(path+".value", string(p.Value))
		} else if len(p.Cases) == 0 {
			c.fault(path, "parameter "+name+" has no value", "give value, or cases")
		}
		for i, k := range p.Cases {
			at := fmt.Sprintf("%s.cases[%d]", path, i)
			one := Case{Sex: c.sex(at+".sex", k.Sex), Age: c.ages(at+".age", k.Age), Edition: string(k.Edition), Value: c.decimal(at+".value", string(k.Value))}
			if one.Edition != "" {
				c.edition(at+".edition", one.Edition)
			}
			if k.Origin != "" {
				c.origin(at, k.Origin)
			}
			out.Cases = append(out.Cases, one)
		}
		c.rule.Parameters[name] = out
	}
}

// edition checks the name of a guideline edition.
func (c *compilation) edition(path, name string) {
	if !slices.Contains(Editions, name) {
		c.fault(path, "unknown edition "+name, fmt.Sprintf("known are %v", Editions))
	}
}

// origin checks where a number comes from.
func (c *compilation) origin(path, origin string) {
	if c.linted {
		return
	}
	labels := slices.Clone(plainOrigins)
	for _, a := range c.file.RelatedArtifact {
		if a.Label != "" && !slices.Contains(labels, a.Label) {
			labels = append(labels, a.Label)
		}
	}
	switch {
	case origin == "":
		c.fault(path, "a number without an origin", "origin is a label among the sources, or one of common practice, site choice, from memory")
	case !slices.Contains(labels, origin):
		hint := suggest(origin, labels)
		if hint == "" {
			hint = "use a label among the sources, or one of common practice, site choice, from memory"
		}
		c.fault(path+".origin", "unknown origin "+origin, hint)
	}
}

func (c *compilation) unit(path, code string) ucum.Unit {
	if code == "" {
		return ucum.Unit{}
	}
	u, err := ucum.Parse(code)
	if err != nil {
		c.fault(path, err.Error(), "units are written in UCUM: mm[Hg], cm/s, mL/m2, /min, %, 1")
	}
	return u
}

func (c *compilation) decimal(path, text string) ucum.Decimal {
	d, notes, err := ucum.ParseDecimal(text)
	if err != nil || len(notes) > 0 {
		c.fault(path, fmt.Sprintf("%q is not a number", text), pointHint(text))
	}
	return d
}

// pointHint says how a number with a comma is written.
func pointHint(text string) string {
	if strings.Count(text, ",") != 1 {
		return ""
	}
	return "write " + strings.Replace(text, ",", ".", 1)
}

func (c *compilation) sex(path, sex string) string {
	if sex != "" && sex != "M" && sex != "F" && sex != "O" {
		c.fault(path, "unknown sex "+sex, "M, F or O, as in Patient's Sex (0010,0040)")
	}
	return sex
}

func (c *compilation) ages(path string, r *written.Range) Ages {
	if r == nil {
		return Ages{}
	}
	return Ages{Low: c.bound(path+".low", r.Low), High: c.bound(path+".high", r.High)}
}

func (c *compilation) bound(path string, b *written.Bound) *float64 {
	if b == nil {
		return nil
	}
	years, err := inYears(string(b.Value), b.Unit)
	if err != nil {
		c.fault(path, err.Error(), "write 18 years")
		return nil
	}
	return &years
}

// inYears reads an age such as 18 a or 6 mo.
func inYears(value, unit string) (float64, error) {
	d, _, err := ucum.ParseDecimal(value)
	if err != nil {
		return 0, fmt.Errorf("age %q is not a number", value)
	}
	u, err := ucum.Parse(written.Unit(unit))
	if err != nil {
		return 0, fmt.Errorf("age in unknown unit %q", unit)
	}
	year, err := ucum.Parse("a")
	if err != nil {
		return 0, err
	}
	years, err := ucum.Quantity{Value: d, Unit: u}.Float(year)
	if err != nil {
		return 0, fmt.Errorf("age in unit %q", unit)
	}
	return years, nil
}

// DefaultEdition is the guideline edition that judges when the lab chooses
// none.
const DefaultEdition = "2015"
