package labyear

import (
	"math/rand/v2"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/phantom"
)

// rereadEvery is how often a study of the year is read twice.
const rereadEvery = 10

// Of a first reading: how far its values lie from those of the report that
// counts, and by how much more its TAPSE is.
const (
	rereadSpread    = 0.04
	rereadExcursion = 1.08 // as the story of second readings says
)

// reread gives the first of two readings of a study, by another physician; the
// report that counts names it as its predecessor. It is drawn apart from
// everything else, so that the year is the same with and without it.
func (s *setting) reread(d phantom.Dialect, h phantom.Header, seed uint64, index int) *phantom.Object {
	random := rand.New(rand.NewPCG(seed, 2<<32+uint64(index)))
	if random.IntN(rereadEvery) != 0 {
		return nil
	}
	reader := physicians[random.IntN(len(physicians))]
	for reader == s.study.Reader {
		reader = physicians[random.IntN(len(physicians))]
	}
	h.Instance, h.Predecessor = phantom.Uid(h.Instance, "first"), ""
	h.Time = s.study.Ended.Add(-10 * time.Minute).Format("150405")
	first := *s.record
	first.Readings = make([]*phantom.Reading, len(s.record.Readings))
	for i, r := range s.record.Readings {
		again := *r
		again.Values = append([]float64(nil), r.Values...)
		factor := 1 + rereadSpread*random.NormFloat64()
		if r.Quantity.Measurand == "tricuspid-annular-plane-systolic-excursion" {
			factor *= rereadExcursion
		}
		for k := range again.Values {
			if !r.Derived && r.Quantity.Kind != phantom.Stature && r.Quantity.Kind != phantom.BodyMass {
				again.Values[k] *= factor
			}
		}
		first.Readings[i] = &again
	}
	dataset := d.Document(&first, h, d.Write(d, &first))
	s.identify(&dataset, reader)
	return &phantom.Object{Name: "first-reading.dcm", Dataset: dataset, Implicit: d.Implicit}
}

// identify writes what the lab's own systems give every report of the study.
func (s *setting) identify(dataset *dcm.Dataset, reader string) {
	dataset.Set(
		dcm.Strings(dcm.T(0x00081010), s.machine.station), dcm.Strings(dcm.T(0x00080050), s.study.Accession),
		dcm.Strings(dcm.T(0x00080020), s.on.Format("20060102")), dcm.Strings(dcm.T(0x00081070), s.study.Sonographer), dcm.Strings(dcm.T(0x00081060), reader),
	)
}
