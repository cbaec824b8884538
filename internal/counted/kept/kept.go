// Package kept owns the form in which the ledger keeps what is counted of a study
// beside its results.
package kept

import (
	"time"
	"unique"

	"echotally/internal/casemix"
	"echotally/internal/counted"
	"echotally/internal/measurand"
	"echotally/internal/packed"
)

// Form packs and reads what is counted of studies by one rule library.
type Form struct {
	form     packed.Form
	grades   int // steps of the ladder
	quantity func(measurand string) *counted.Quantity
}

// NewForm makes one for the measurands of a catalogue, in its order, and a ladder of
// so many grades; what is read shares the quantities.
func NewForm(catalogue *measurand.Catalogue, grades int, quantity func(measurand string) *counted.Quantity) *Form {
	f := &Form{grades: grades, quantity: quantity}
	var texts []string
	for _, m := range catalogue.Measurands {
		texts = append(texts, m.Identifier)
	}
	f.form.Texts = packed.NewTexts(texts)
	return f
}

// study is what is taken from a study beside its results, as it is packed.
// Measurands stand in the order of their catalogue, to which a rule set's digest
// holds; the texts of the form are their identifiers.
type study struct {
	Date    string         `cbor:"1,keyasint,omitempty"` // 2026-10-31, "" when it cannot be read
	Device  counted.Device `cbor:"2,keyasint,omitempty"`
	Case    casemix.Case   `cbor:"3,keyasint,omitempty"`
	Coding  counted.Coding `cbor:"4,keyasint,omitempty"`
	Medium  casemix.Medium `cbor:"5,keyasint,omitempty"`
	Values  []series       `cbor:"6,keyasint,omitempty"`
	Spreads []series       `cbor:"7,keyasint,omitempty"`
	Pairs   []pair         `cbor:"8,keyasint,omitempty"`
	X       []float64      `cbor:"9,keyasint,omitempty"` // of all series, one after the other
	Images  int            `cbor:"10,keyasint,omitempty"`
	Untold  int            `cbor:"11,keyasint,omitempty"`
	Grades  []grade        `cbor:"12,keyasint,omitempty"`
}

// grade is a pair of grades as it is packed.
type grade struct {
	Lesion   string           `cbor:"1,keyasint,omitempty"`
	Compared counted.Compared `cbor:"2,keyasint,omitempty"`
	First    int              `cbor:"3,keyasint,omitempty"` // on the ladder
	Second   int              `cbor:"4,keyasint,omitempty"`
}

// series is so many numbers of a measurand.
type series struct {
	Measurand string `cbor:"1,keyasint,omitempty"`
	Count     int    `cbor:"2,keyasint,omitempty"`
}

// pair is a pair of readings as it is packed.
type pair struct {
	Measurand string           `cbor:"1,keyasint,omitempty"`
	Compared  counted.Compared `cbor:"2,keyasint,omitempty"`
	First     float64          `cbor:"3,keyasint,omitempty"`
	Second    float64          `cbor:"4,keyasint,omitempty"`
	Identical bool             `cbor:"5,keyasint,omitempty"`
}

// Pack packs what is counted of a study beside its results.
func (f *Form) Pack(s *counted.Study) []byte {
	out := study{Device: s.Device, Case: s.Case, Coding: s.Coding, Medium: s.Medium, Images: s.Images, Untold: s.Untold}
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
	packed, _ := f.form.Pack(&out, nil)
	return packed
}

// Unpack reads what a form of the same rule set packed.
func (f *Form) Unpack(b []byte) (counted.Study, error) {
	var in study
	if err := f.form.Unpack(b, &in, nil); err != nil {
		return counted.Study{}, err
	}
	s := counted.Study{Device: in.Device, Case: in.Case, Coding: in.Coding, Medium: in.Medium, Images: in.Images, Untold: in.Untold}
	s.Date, _ = time.Parse(time.DateOnly, in.Date) // a date that cannot be read stays zero
	s.Device = counted.Device{Maker: shared(in.Device.Maker), Model: shared(in.Device.Model), Software: shared(in.Device.Software), Station: shared(in.Device.Station)}
	s.Case.Sex, s.Case.Quality, s.Medium.Modality = shared(in.Case.Sex), shared(in.Case.Quality), shared(in.Medium.Modality)
	for _, g := range in.Grades {
		if min(g.First, g.Second) < 0 || max(g.First, g.Second) >= f.grades {
			return counted.Study{}, packed.ErrDamaged
		}
		s.Grades = append(s.Grades, counted.GradePair{Lesion: shared(g.Lesion), Compared: counted.Compared(shared(string(g.Compared))), First: g.First, Second: g.Second})
	}
	for i, kind := range s.Medium.Transducers {
		s.Medium.Transducers[i] = shared(kind)
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
	n := 0
	for _, one := range in.Values {
		n += max(0, min(one.Count, len(in.X)))
	}
	s.Values = make([]counted.Value, 0, min(n, len(in.X)))
	for _, one := range in.Values {
		numbers, err := take(one.Count)
		if err != nil {
			return counted.Study{}, err
		}
		of := f.quantity(one.Measurand)
		for _, x := range numbers {
			s.Values = append(s.Values, counted.Value{Quantity: of, X: x})
		}
	}
	for _, one := range in.Spreads {
		numbers, err := take(one.Count)
		if err != nil {
			return counted.Study{}, err
		}
		s.Spreads = append(s.Spreads, counted.Spread{Quantity: f.quantity(one.Measurand), Readings: numbers})
	}
	for _, p := range in.Pairs {
		s.Pairs = append(s.Pairs, counted.Pair{Quantity: f.quantity(p.Measurand), Compared: counted.Compared(shared(string(p.Compared))), First: p.First, Second: p.Second, Identical: p.Identical})
	}
	return s, nil
}

// shared is a text of few different ones that does not keep what was read in memory.
func shared(text string) string { return unique.Make(text).Value() }
