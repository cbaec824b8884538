package code

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"echotally/internal/measurand/unmatched"
	"echotally/internal/store"
)

// Naming is what the lab said of codes, as the ledger keeps it.
type Naming struct {
	File  string    `json:"file"` // of the lab's own folder
	Codes []Meant   `json:"codes"`
	Who   string    `json:"who"` // pseudonym of the account
	Roles string    `json:"roles"`
	At    time.Time `json:"-"`
}

// Meant is a code with what it means.
type Meant struct {
	Code      string `json:"code"`
	Meaning   string `json:"meaning"` // as the scanner writes it
	Measurand string `json:"measurand"`
	Means     string `json:"means"` // the measurand in words
	Why       string `json:"why"`
}

// namingKind is the kind of decisions that namings are.
const namingKind = "codes-named"

// Named is all that the lab said of codes, in its order.
func Named(ctx context.Context, ledger *store.Store) ([]Naming, error) {
	list, err := ledger.Decisions(ctx, namingKind)
	if err != nil {
		return nil, err
	}
	out := make([]Naming, len(list))
	for i, d := range list {
		if err := json.Unmarshal(d.Body, &out[i]); err != nil {
			return nil, fmt.Errorf("decision %d of the ledger: %w", d.Number, err)
		}
		out[i].At = d.At
	}
	return out, nil
}

func (n *Naming) add(u *unmatched.Code) {
	name, s := u.Example.ConceptName, u.Suggestions[0]
	n.Codes = append(n.Codes, Meant{name.CodingSchemeDesignator + ": " + name.CodeValue, name.CodeMeaning, s.Measurand.Identifier, s.Measurand.Title, s.Why})
}
