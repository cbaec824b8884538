package answer

import (
	"slices"

	"echotally/internal/echo"
	"echotally/internal/measurand"
)

// measured are the measurements of a study that speak, by what was measured, each
// in document order.
type measured struct {
	catalogue *measurand.Catalogue
	all       []*echo.Measurement            // by the place of their measurand in the catalogue
	ends      []int32                        // by that place, where in all they end
	others    map[string][]*echo.Measurement // of what the catalogue does not have
	names     []string                       // of the measurands, sorted
	places    []int32                        // of each measurement, or what it is instead
}

// What a measurement is that has no place in the catalogue.
const (
	silent  = -1
	unknown = -2
)

// turn arranges those of a study, in the room of those of another.
func (m *measured) turn(catalogue *measurand.Catalogue, s *echo.Study) {
	clear(m.all)
	*m = measured{catalogue: catalogue, all: m.all[:0], ends: m.ends[:0], names: m.names[:0], places: m.places[:0]}
	m.ends = slices.Grow(m.ends, len(catalogue.Measurands)+1)[:len(catalogue.Measurands)+1]
	clear(m.ends)
	m.places = slices.Grow(m.places, len(s.Measurements))
	speak := 0
	for i := range s.Measurements {
		p := m.place(&s.Measurements[i])
		if m.places = append(m.places, p); p >= 0 {
			m.ends[p+1]++
			speak++
		}
	}
	for p, one := range catalogue.Measurands {
		if m.ends[p+1] > 0 {
			m.names = append(m.names, one.Identifier)
		}
		m.ends[p+1] += m.ends[p] // until they are filled in, where those of the next begin
	}
	m.all = slices.Grow(m.all, speak)[:speak]
	for i, p := range m.places {
		if p >= 0 {
			m.all[m.ends[p]] = &s.Measurements[i]
			m.ends[p]++
		}
	}
	if len(m.others) > 0 {
		for name := range m.others {
			m.names = append(m.names, name)
		}
		slices.Sort(m.names)
	}
}

// place is where the measurand of a measurement stands in the catalogue. What the
// catalogue does not have is kept apart.
func (m *measured) place(one *echo.Measurement) int32 {
	if one.Measurand == "" || one.Role != echo.Result || one.Superseded || one.DuplicateOf != nil {
		return silent
	}
	if d := m.catalogue.Find(one.Measurand); d != nil {
		return int32(d.Place)
	}
	if m.others == nil {
		m.others = map[string][]*echo.Measurement{}
	}
	m.others[one.Measurand] = append(m.others[one.Measurand], one)
	return unknown
}

// of are the measurements of a measurand.
func (m *measured) of(d *measurand.Measurand) []*echo.Measurement {
	if known := m.catalogue.Measurands; d.Place < len(known) && known[d.Place] == d {
		return m.at(d.Place)
	}
	return m.called(d.Identifier) // of another catalogue
}

func (m *measured) at(place int) []*echo.Measurement {
	begin := int32(0)
	if place > 0 {
		begin = m.ends[place-1]
	}
	return m.all[begin:m.ends[place]]
}

// called are the measurements of the measurand of an identifier.
func (m *measured) called(identifier string) []*echo.Measurement {
	if d := m.catalogue.Find(identifier); d != nil {
		return m.at(d.Place)
	}
	return m.others[identifier]
}
