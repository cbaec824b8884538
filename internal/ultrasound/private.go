package ultrasound

import (
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// privateFile is the name of the file in every layer.
const privateFile = "scanners.yaml"

// Private says where a scanner writes a setting that the standard has no
// attribute for.
type Private struct {
	Setting string // wallFilter or sampleGate
	Creator string // what reserves the block (PS3.5 7.8.1)
	Group   uint16
	Element uint16 // the low byte; the block gives the high one
	Unit    ucum.Unit
}

// settings are what can be mapped, with the unit it is kept in.
var settings = map[string]string{"wallFilter": "Hz", "sampleGate": "mm"}

// privateEntry is one mapping as written.
type privateEntry struct {
	Setting string `yaml:"setting"`
	Creator string `yaml:"creator"`
	Element string `yaml:"element"` // 0019,xx12
	Unit    string `yaml:"unit"`
}

// LoadPrivate reads scanners.yaml of each layer that has one. The error joins
// all faults.
func LoadPrivate(layers ...fs.FS) ([]Private, error) {
	var out []Private
	var faults []error
	for _, layer := range layers {
		src, err := bound.ReadFile(layer, privateFile)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("scanner settings: %w", err)
		}
		var entries []privateEntry
		if err := datafile.Decode(privateFile, src, &entries); err != nil {
			faults = append(faults, err)
			continue
		}
		places := datafile.NewPlaces(privateFile, src)
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
func (e privateEntry) mapping() (p Private, message, hint string) {
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
	return Private{Setting: e.Setting, Creator: strings.TrimSpace(e.Creator), Group: uint16(g), Element: uint16(n), Unit: unit}, "", ""
}

// private reads the mapped settings of a region: from its own item, otherwise
// from the image.
func (r *reader) private(item dcm.Dataset, g *echo.Region) {
	for _, p := range r.mapped {
		x, ok := p.in(item)
		if !ok {
			x, ok = p.in(r.header)
		}
		if !ok {
			continue
		}
		switch p.Setting {
		case "wallFilter":
			g.WallFilter = &x
		case "sampleGate":
			g.SampleGate = &x
		}
	}
}

// in finds the value in a data set, in the unit the setting is kept in.
func (p Private) in(d dcm.Dataset) (float64, bool) {
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
		if err != nil || !usable(x) || x <= 0 {
			return 0, false
		}
		f, _ := factor.Float64()
		return x * f, true
	}
	return 0, false
}
