package audit

import (
	"strings"
	"time"

	"echotally/internal/packed"
)

// counter names what [Reducer.Reduce] takes from a study. Whatever changes what
// is counted gives it another number, so that the ledger's studies are counted
// anew.
const counter = "audit 4"

// Counter names what is counted and by which reducer: what another one packed is
// not read.
func (r *Reducer) Counter() string { return counter }

// counted is what is taken from a study beside its results, as it is packed.
// Measurands stand in the order of their catalogue, to which a rule set's digest
// holds; the texts of the form are their identifiers.
type counted struct {
	Date    string    `cbor:"1,keyasint,omitempty"` // 2026-10-31, "" when it cannot be read
	Device  Device    `cbor:"2,keyasint,omitempty"`
	Case    Case      `cbor:"3,keyasint,omitempty"`
	Coding  Coding    `cbor:"4,keyasint,omitempty"`
	Medium  Medium    `cbor:"5,keyasint,omitempty"`
	Values  []series  `cbor:"6,keyasint,omitempty"`
	Spreads []series  `cbor:"7,keyasint,omitempty"`
	Pairs   []pair    `cbor:"8,keyasint,omitempty"`
	X       []float64 `cbor:"9,keyasint,omitempty"` // of all series, one after the other
	Images  int       `cbor:"10,keyasint,omitempty"`
	Untold  int       `cbor:"11,keyasint,omitempty"`
	Grades  []grade   `cbor:"12,keyasint,omitempty"`
}

// grade is a pair of grades as it is packed.
type grade struct {
	Lesion   string   `cbor:"1,keyasint,omitempty"`
	Compared Compared `cbor:"2,keyasint,omitempty"`
	First    int      `cbor:"3,keyasint,omitempty"` // on the ladder
	Second   int      `cbor:"4,keyasint,omitempty"`
}

// series is so many numbers of a measurand.
type series struct {
	Measurand string `cbor:"1,keyasint,omitempty"`
	Count     int    `cbor:"2,keyasint,omitempty"`
}

// pair is a pair of readings as it is packed.
type pair struct {
	Measurand string   `cbor:"1,keyasint,omitempty"`
	Compared  Compared `cbor:"2,keyasint,omitempty"`
	First     float64  `cbor:"3,keyasint,omitempty"`
	Second    float64  `cbor:"4,keyasint,omitempty"`
	Identical bool     `cbor:"5,keyasint,omitempty"`
}

// Pack packs what is counted of a study beside its results.
func (r *Reducer) Pack(s *Study) []byte {
	out := counted{Device: s.Device, Case: s.Case, Coding: s.Coding, Medium: s.Medium, Images: s.Images, Untold: s.Untold}
	if !s.Date.IsZero() {
		out.Date = s.Date.Format(time.DateOnly)
	}
	for _, v := range s.Values {
		if n := len(out.Values); n == 0 || out.Values[n-1].Measurand != v.Measurand {
			out.Values = append(out.Values, series{Measurand: v.Measurand})
		}
		out.Values[len(out.Values)-1].Count++
		out.X = append(out.X, v.X)
	}
	for _, one := range s.Spreads {
		out.Spreads = append(out.Spreads, series{one.Measurand, len(one.Readings)})
		out.X = append(out.X, one.Readings...)
	}
	for _, p := range s.Pairs {
		out.Pairs = append(out.Pairs, pair{p.Measurand, p.Compared, p.First, p.Second, p.Identical})
	}
	for _, g := range s.Grades {
		out.Grades = append(out.Grades, grade(g))
	}
	packed, _ := r.form.Pack(&out, nil)
	return packed
}

// Unpack reads what a reducer of the same rule set packed.
func (r *Reducer) Unpack(b []byte) (Study, error) {
	var in counted
	if err := r.form.Unpack(b, &in, nil); err != nil {
		return Study{}, err
	}
	s := Study{Device: in.Device, Case: in.Case, Coding: in.Coding, Medium: in.Medium, Images: in.Images, Untold: in.Untold}
	s.Date, _ = time.Parse(time.DateOnly, in.Date) // a date that cannot be read stays zero
	s.Device = Device{own(in.Device.Maker), own(in.Device.Model), own(in.Device.Software), own(in.Device.Station)}
	s.Case.AgeBand, s.Case.Sex, s.Case.Quality, s.Medium.Modality = own(in.Case.AgeBand), own(in.Case.Sex), own(in.Case.Quality), own(in.Medium.Modality)
	for _, g := range in.Grades {
		if min(g.First, g.Second) < 0 || max(g.First, g.Second) >= len(r.scales.Grades) {
			return Study{}, packed.ErrDamaged
		}
		s.Grades = append(s.Grades, GradePair{own(g.Lesion), Compared(own(string(g.Compared))), g.First, g.Second})
	}
	for i, kind := range s.Medium.Transducers {
		s.Medium.Transducers[i] = own(kind)
	}
	rest := in.X
	take := func(n int) ([]float64, error) {
		if n < 0 || n > len(rest) {
			return nil, packed.ErrDamaged
		}
		out := rest[:n:n]
		rest = rest[n:]
		return out, nil
	}
	s.Values = make([]Value, 0, len(in.X))
	for _, one := range in.Values {
		numbers, err := take(one.Count)
		if err != nil {
			return Study{}, err
		}
		of := r.quantity(one.Measurand)
		for _, x := range numbers {
			s.Values = append(s.Values, Value{of, x})
		}
	}
	for _, one := range in.Spreads {
		numbers, err := take(one.Count)
		if err != nil {
			return Study{}, err
		}
		s.Spreads = append(s.Spreads, Spread{r.quantity(one.Measurand), numbers})
	}
	for _, p := range in.Pairs {
		s.Pairs = append(s.Pairs, Pair{r.quantity(p.Measurand), Compared(own(string(p.Compared))), p.First, p.Second, p.Identical})
	}
	return s, nil
}

// quantity gives a measurand as its values are shown; one that the catalogue
// does not have shows its identifier.
func (r *Reducer) quantity(measurand string) *Quantity {
	if known := r.quantities[measurand]; known != nil {
		return known
	}
	out := &Quantity{Measurand: strings.Clone(measurand), Title: measurand}
	if m := r.set.Measurands.Find(measurand); m != nil {
		unit := m.Unit.Code()
		*out = Quantity{Measurand: m.Identifier, Title: m.Title, Unit: unit, Step: readingStep(unit)}
	}
	r.quantities[out.Measurand] = out
	return out
}
