package store

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/ucum"
)

// What other tests found and how a request was judged is kept among the
// decisions, under a keyed hash of the study, so that who has the file but not
// the key cannot tell of whom it is.

// Test is what another test found of a patient.
type Test struct {
	Measurand string    // identifier, of what the echo study measures
	Test      string    // one of [OtherTests]
	Value     string    // as written
	Unit      string    // UCUM
	On        time.Time // day of the test
}

// OtherTests are the tests that echo findings are compared with.
var OtherTests = []string{"catheter", "magnetic-resonance", "computed-tomography", "nuclear", "surgery", "other-echo"}

// Appropriatenesses are the classes of requests, the best first (Hendel RC et al.
// J Am Coll Cardiol 2013;61:1305-1317, from memory).
var Appropriatenesses = []string{"appropriate", "may-be-appropriate", "rarely-appropriate"}

// outside is a row of such a list as it is kept.
type outside struct {
	Of        string `json:"of"` // keyed hash of accession number or Study Instance UID
	Measurand string `json:"measurand,omitempty"`
	Test      string `json:"test,omitempty"`
	Value     string `json:"value,omitempty"`
	Unit      string `json:"unit,omitempty"`
	On        string `json:"on,omitempty"`
	Class     string `json:"class,omitempty"`
}

// place is what a later row replaces.
func (o outside) place() string { return strings.Join([]string{o.Of, o.Measurand, o.Test, o.On}, "\n") }

// takeOutside takes the rows of a list of that kind.
func (s *Store) takeOutside(kind ListKind) func(*tx, listRow) (bool, *RowFault, error) {
	var known map[string]outside // by place, read with the first row
	return func(t *tx, row listRow) (bool, *RowFault, error) {
		c := row.cells
		if fault := checkWhich(c); fault != nil {
			return false, fault, nil
		}
		if fault := checkOutside(kind, c); fault != nil {
			return false, fault, nil
		}
		if known == nil {
			var err error
			if known, err = t.outside(kind); err != nil {
				return false, nil, err
			}
		}
		one := outside{Of: s.key.Lookup(c["accession"])}
		if one.Of == "" {
			one.Of = s.key.Lookup(c["study"])
		}
		if kind == Correlation {
			one.Measurand, one.Test, one.Value, one.Unit, one.On = c["measurand"], strings.ToLower(c["test"]), c["value"], c["unit"], c["date"]
		} else {
			one.Class = strings.ToLower(c["class"])
		}
		if known[one.place()] == one {
			return false, nil, nil
		}
		known[one.place()] = one
		body, err := json.Marshal(one)
		if err != nil {
			return false, nil, err
		}
		id, err := t.insert(sqlAddDecision, string(kind), t.now, string(body))
		t.touch("decision", id)
		return true, nil, err
	}
}

func checkOutside(kind ListKind, c map[string]string) *RowFault {
	if kind == Appropriateness {
		if !slices.Contains(Appropriatenesses, strings.ToLower(c["class"])) {
			return &RowFault{Column: "class", Reason: "not a class", Hint: "one of " + strings.Join(Appropriatenesses, ", ")}
		}
		return nil
	}
	if !slices.Contains(OtherTests, strings.ToLower(c["test"])) {
		return &RowFault{Column: "test", Reason: "not a test", Hint: "one of " + strings.Join(OtherTests, ", ")}
	}
	if _, _, err := ucum.ParseDecimal(c["value"]); err != nil {
		return &RowFault{Column: "value", Reason: "not a number", Hint: "digits with a point, such as 0.8"}
	}
	if _, err := ucum.Parse(c["unit"]); err != nil {
		return &RowFault{Column: "unit", Reason: "not a unit", Hint: "UCUM, such as mm[Hg], cm2, mL or %"}
	}
	if _, err := time.Parse(time.DateOnly, c["date"]); err != nil {
		return &RowFault{Column: "date", Reason: "not a day", Hint: "write 2026-10-31"}
	}
	return nil
}

// outside are the rows of a kind that hold, by what they replace.
func (v *view) outside(kind ListKind) (map[string]outside, error) {
	decisions, err := v.decisions(string(kind))
	if err != nil {
		return nil, err
	}
	out := map[string]outside{}
	for _, d := range decisions {
		var one outside
		if err := json.Unmarshal(d.Body, &one); err != nil {
			return nil, fmt.Errorf("%s %d: %w", kind, d.Number, err)
		}
		out[one.place()] = one
	}
	return out, nil
}

// loadOutside reads what other tests and reviewers said, by the keyed hashes of
// the studies.
func (q *question) loadOutside() error {
	q.tests, q.classes = map[string][]Test{}, map[string]string{}
	tests, err := q.outside(Correlation)
	if err != nil {
		return err
	}
	for _, one := range tests {
		on, _ := time.Parse(time.DateOnly, one.On) // was checked when it was taken in
		q.tests[one.Of] = append(q.tests[one.Of], Test{one.Measurand, one.Test, one.Value, one.Unit, on})
	}
	for _, list := range q.tests {
		slices.SortFunc(list, func(a, b Test) int {
			return strings.Compare(a.Measurand+a.Test+a.On.Format(time.DateOnly), b.Measurand+b.Test+b.On.Format(time.DateOnly))
		})
	}
	classes, err := q.outside(Appropriateness)
	for _, one := range classes {
		q.classes[one.Of] = one.Class
	}
	return err
}

// joinOutside adds them to a study; of the accession number as of the UID.
func (q *question) joinOutside(one *Study) error {
	if len(q.tests)+len(q.classes) == 0 {
		return nil
	}
	var lookup string
	if _, err := q.row(sqlLookupOf, []any{one.UID}, &lookup); err != nil {
		return err
	}
	of := []string{lookup}
	if q.key != nil {
		of = append(of, q.key.Lookup(one.UID))
	}
	for _, name := range of {
		if name != "" {
			one.Tests = append(one.Tests, q.tests[name]...)
			if class := q.classes[name]; class != "" {
				one.Appropriateness = class
			}
		}
	}
	if len(one.Tests) > 0 && one.packed == nil {
		_, err := q.row(sqlPackedOf, []any{one.UID}, &one.packed)
		return err
	}
	return nil
}
