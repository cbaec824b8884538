// Package private owns where scanners write settings that the standard has no attribute
// for: which private element holds one, and its value in a data set.
package private

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strconv"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/dcm"
	"echotally/internal/ucum"
)

// file is its name in every layer.
const file = "scanners.yaml"

// Mapping says where a scanner writes a setting that the standard has no
// attribute for.
type Mapping struct {
	Setting string // wallFilter or sampleGate
	Creator string // what reserves the block (PS3.5 7.8.1)
	Group   uint16
	Element uint16 // the low byte; the block gives the high one
	Unit    ucum.Unit
}

// settings are what can be mapped, with the unit it is kept in.
var settings = map[string]string{"wallFilter": "Hz", "sampleGate": "mm"}

// entry is one mapping as written.
type entry struct {
	Setting string `yaml:"setting"`
	Creator string `yaml:"creator"`
	Element string `yaml:"element"` // 0019,xx12
	Unit    string `yaml:"unit"`
}

// Load reads scanners.yaml of each layer that has one. The error joins
// all faults.
func Load(layers ...fs.FS) ([]Mapping, error) {
	var out []Mapping
	var faults []error
	for _, layer := range layers {
		src, err := bound.ReadFile(layer, file)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("scanner settings: %w", err)
		}
		var entries []entry
		if err := datafile.Decode(file, src, &entries); err != nil {
			faults = append(faults, err)
			continue
		}
		places := datafile.NewPlaces(file, src)
		for n, e := range entries {
			p, message, hint := e.mapping()
			if message != "" {
				faults = append(faults, places.Fault(fmt.Sprintf("$[%d]", n), message, hint))
				continue
			}
			out = append(out, p)
		}
	}
	return out, fault.Join(faults)
}

// mapping checks an entry; message says what is wrong.
func (e entry) mapping() (p Mapping, message, hint string) {
	kept, known := settings[e.Setting]
	if !known {
		return p, fmt.Sprintf("unknown setting %q", e.Setting), "wallFilter or sampleGate"
	}
	if strings.TrimSpace(e.Creator) == "" {
		return p, "no creator", "write the text of the private creator element (gggg,00bb)"
	}
	group, element, ok := strings.Cut(strings.ToLower(e.Element), ",xx")
	g, errG := strconv.ParseUint(group, 16, 16)
	n, errE := strconv.ParseUint(element, 16, 8)
	if !ok || errG != nil || errE != nil || g%2 == 0 {
		return p, fmt.Sprintf("element %q is no private element", e.Element), `write group and element with xx for the block: "0019,xx12"`
	}
	unit, err := ucum.Parse(e.Unit)
	if err != nil {
		return p, fmt.Sprintf("unit %q is not UCUM", e.Unit), "such as Hz or mm"
	}
	if want, err := ucum.Parse(kept); err != nil || !unit.Convertible(want) {
		return p, fmt.Sprintf("a %s is not in %s", e.Setting, e.Unit), "such as " + kept
	}
	return Mapping{Setting: e.Setting, Creator: strings.TrimSpace(e.Creator), Group: uint16(g), Element: uint16(n), Unit: unit}, "", ""
}

// Value finds the value in a data set, in the unit the setting is kept in; false where it
// is not there.
func (p Mapping) Value(d dcm.Dataset) (float64, bool) {
	for block := uint16(0x10); block <= 0xFF; block++ {
		if d.Text(dcm.Tag{Group: p.Group, Element: block}) != p.Creator {
			continue
		}
		t := dcm.Tag{Group: p.Group, Element: block<<8 | p.Element}
		var x float64
		switch ints, floats, texts := d.Ints(t), d.Floats(t), d.Texts(t); {
		case len(floats) > 0:
			x = floats[0]
		case len(ints) > 0:
			x = float64(ints[0])
		case len(texts) > 0:
			f, err := strconv.ParseFloat(texts[0], 64)
			if err != nil {
				return 0, false
			}
			x = f
		default:
			return 0, false
		}
		kept, err := ucum.Parse(settings[p.Setting])
		if err != nil {
			return 0, false
		}
		factor, err := p.Unit.FactorTo(kept)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || x <= 0 {
			return 0, false
		}
		f, _ := factor.Float64()
		return x * f, true
	}
	return 0, false
}
