// Package mistake owns the table of single slips that occur when an echo report
// is made (mistakes.yaml): how common each is, what it does to a value, how far
// it is looked for. Whether one of them explains a failed demand is the matter
// of package slip.
package mistake

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/measurand"
	"echotally/internal/mistake/likeness"
	"echotally/internal/ucum"
)

const fileName = "mistakes.yaml"

// Slip is a kind of single mistake.
type Slip struct {
	Identifier string
	Commonness int  // 1 most common
	Early      bool // happens before the system computes as well as after
	Computing  bool // the recorded values are right; what was computed from them is not
	Reckoned   bool // a system may make it while it computes from right values
}

// Factor is a slip that multiplies.
type Factor struct {
	Slip *Slip
	By   float64 // undoes it
	Why  string
}

// Usual are values put in for a quantity that was not measured.
type Usual struct {
	Slip      *Slip
	Measurand string
	Values    []float64 // in the unit of the measurand
	Twice     int       // how commonly it is counted twice, in place of the commonness of the slip; 0 when alike
	Source    string
}

// Swapped are two measurands whose numbers are entered for each other.
type Swapped struct {
	Slip   *Slip
	First  string
	Second string
	Title  string
}

// Indexed is dividing by body size.
type Indexed struct {
	Slip  *Slip
	By    string // measurand
	Title string
}

// Remaining is a share in place of what is left of the whole.
type Remaining struct {
	Slip     *Slip
	Quantity string
	Title    string
}

// Limits say how far is looked.
type Limits struct {
	TypedDigits  int     `yaml:"typedDigits"`
	CopiedDigits int     `yaml:"copiedDigits"`
	CopyReach    float64 `yaml:"copyReach"`
	MostEdited   float64 `yaml:"mostEdited"`
	OneSlip      float64 `yaml:"oneSlip"`
	Misread      float64 `yaml:"misread"`
	Chance       float64 `yaml:"chance"`
}

// Table is all that is known of slips. The empty table knows none.
type Table struct {
	Usual     []Usual
	Swapped   []Swapped
	Indexed   Indexed
	Remaining Remaining
	Limits    Limits
	likeness.Words

	slips      map[string]*Slip
	quantities map[string]ucum.Unit
	factors    []factor
}

type factor struct {
	slip                       *Slip
	quantity, except, measured string
	by                         float64
	up, down                   string
}

// Slip is the slip of a name, nil when it is not to be looked for.
func (t *Table) Slip(identifier string) *Slip { return t.slips[identifier] }

// Rarest is the commonness of the slip that occurs least commonly.
func (t *Table) Rarest() int {
	rarest := 0
	for _, s := range t.slips {
		rarest = max(rarest, s.Commonness)
	}
	return rarest
}

// Factors are the slips that multiply values of a measurand in a unit.
func (t *Table) Factors(m *measurand.Measurand, unit ucum.Unit) []Factor {
	var out []Factor
	for i := range t.factors {
		f := &t.factors[i]
		switch {
		case f.measured != "" && (m == nil || f.measured != m.Identifier):
		case f.quantity != "" && !t.is(f.quantity, m, unit):
		case f.except != "" && t.is(f.except, m, unit):
		default:
			out = append(out, Factor{f.slip, f.by, f.up})
			if f.down != "" {
				out = append(out, Factor{f.slip, 1 / f.by, f.down})
			}
		}
	}
	return out
}

// Remains is the slip of giving the share that remains, nil when a measurand in
// a unit is no such share.
func (t *Table) Remains(m *measurand.Measurand, unit ucum.Unit) *Slip {
	if t.Remaining.Slip == nil || !t.is(t.Remaining.Quantity, m, unit) {
		return nil
	}
	return t.Remaining.Slip
}

// is reports whether a measurand, in a unit, is a quantity of the name.
func (t *Table) is(quantity string, m *measurand.Measurand, unit ucum.Unit) bool {
	of, known := t.quantities[quantity]
	switch {
	case !known:
		return m != nil && m.Quantity == quantity
	case of.Dimension() == ucum.Dimension{}:
		return unit.Code() == of.Code()
	}
	return unit.Dimension() == of.Dimension() && (strings.Contains(of.Code(), "/") || !strings.Contains(unit.Code(), "/"))
}

// asWritten is the file.
type asWritten struct {
	Slips map[string]struct {
		Commonness int  `yaml:"commonness"`
		Early      bool `yaml:"early"`
		Computing  bool `yaml:"computing"`
		Reckoned   bool `yaml:"reckoned"`
	} `yaml:"slips"`
	Quantities map[string]string `yaml:"quantities"`
	Factors    []struct {
		Slip      string  `yaml:"slip"`
		Quantity  string  `yaml:"quantity"`
		Except    string  `yaml:"except"`
		Measurand string  `yaml:"measurand"`
		By        float64 `yaml:"by"`
		Up        string  `yaml:"up"`
		Down      string  `yaml:"down"`
	} `yaml:"factors"`
	Usual []struct {
		Slip      string    `yaml:"slip"`
		Measurand string    `yaml:"measurand"`
		Values    []float64 `yaml:"values"`
		Twice     int       `yaml:"twice"`
		Source    string    `yaml:"source"`
	} `yaml:"usual"`
	Swapped []struct {
		Slip       string   `yaml:"slip"`
		Measurands []string `yaml:"measurands"`
		Title      string   `yaml:"title"`
	} `yaml:"swapped"`
	Indexed *struct {
		Slip  string `yaml:"slip"`
		By    string `yaml:"by"`
		Title string `yaml:"title"`
	} `yaml:"indexed"`
	Remaining *struct {
		Slip     string `yaml:"slip"`
		Quantity string `yaml:"quantity"`
		Title    string `yaml:"title"`
	} `yaml:"remaining"`
	Times   []string            `yaml:"times"`
	Methods []string            `yaml:"methods"`
	Sides   map[string][]string `yaml:"sides"`
	Limits  *Limits             `yaml:"limits"`
}

// Load reads mistakes.yaml of the last layer that has one: a site that writes its
// own writes all of it. The error joins all faults.
func Load(measurands *measurand.Catalogue, layers ...fs.FS) (*Table, error) {
	for _, layer := range slices.Backward(layers) {
		src, err := bound.ReadFile(layer, fileName)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("mistakes: %w", err)
		}
		l := &loading{measurands: measurands, places: datafile.NewPlaces(fileName, src)}
		if err := datafile.Decode(fileName, src, &l.file); err != nil {
			return nil, err
		}
		return l.table(), fault.Join(l.faults)
	}
	return &Table{}, nil
}
