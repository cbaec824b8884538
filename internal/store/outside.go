package store

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/store/lablist"
)

// What other tests found and how a request was judged is kept among the
// decisions, under a keyed hash of the study, so that who has the file but not
// the key cannot tell of whom it is.

// Test is what another test found of a patient.
type Test struct {
	Measurand string    // identifier, of what the echo study measures
	Test      string    // one of [lablist.OtherTests]
	Value     string    // as written
	Unit      string    // UCUM
	On        time.Time // day of the test
}

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
func (s *Store) takeOutside(kind lablist.Kind) func(*tx, map[string]string) (bool, error) {
	var known map[string]outside // by place, read with the first row
	return func(t *tx, c map[string]string) (bool, error) {
		if known == nil {
			var err error
			if known, err = t.outside(kind); err != nil {
				return false, err
			}
		}
		one := outside{Of: s.key.Lookup(c["accession"])}
		if one.Of == "" {
			one.Of = s.key.Lookup(c["study"])
		}
		if kind == lablist.Correlation {
			one.Measurand, one.Test, one.Value, one.Unit, one.On = c["measurand"], strings.ToLower(c["test"]), c["value"], c["unit"], c["date"]
		} else {
			one.Class = strings.ToLower(c["class"])
		}
		if known[one.place()] == one {
			return false, nil
		}
		known[one.place()] = one
		body, err := json.Marshal(one)
		if err != nil {
			return false, err
		}
		id, err := t.insert(sqlAddDecision, string(kind), t.now, string(body))
		t.touch("decision", id)
		return true, err
	}
}

// outside are the rows of a kind that hold, by what they replace.
func (v *view) outside(kind lablist.Kind) (map[string]outside, error) {
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
	tests, err := q.outside(lablist.Correlation)
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
	classes, err := q.outside(lablist.Appropriateness)
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
