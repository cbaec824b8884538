package decision

import (
	"context"
	"encoding/json"
	"fmt"
)

// Withdrawal is the body of a decision that takes an earlier one of its kind back.
// What was decided stays in the chain of the ledger; it no longer counts.
type Withdrawal struct {
	Withdraws int    `json:"withdraws"`     // place of the decision among those of its kind, from 1
	By        string `json:"by"`            // who takes it back, as a role
	Who       string `json:"who,omitempty"` // mark of the account of the page, "" for none
}

// Placed is a decision with its place among those of its kind.
type Placed struct {
	Decision
	Place     int         // from 1
	Takes     *Withdrawal // what it takes back, nil for a decision that says something itself
	Withdrawn bool        // it was taken back since
}

// Counts reports whether the decision says something that still holds.
func (p *Placed) Counts() bool { return p.Takes == nil && !p.Withdrawn }

// Place numbers the decisions of a kind, given in their order, and tells which
// were taken back.
func Place(all []Decision) ([]Placed, error) {
	out := make([]Placed, len(all))
	for i, d := range all {
		out[i] = Placed{Decision: d, Place: i + 1}
		var w Withdrawal
		var takes struct {
			Withdraws int `json:"withdraws"`
		}
		err := json.Unmarshal(d.Body, &takes)
		if err == nil && takes.Withdraws != 0 {
			err = json.Unmarshal(d.Body, &w) // its other words have their meaning only here
		}
		if err != nil {
			return nil, fmt.Errorf("%s, decision %d of the ledger: %w", d.Kind, d.Number, err)
		}
		if w.Withdraws == 0 {
			continue
		}
		out[i].Takes = &w
		if w.Withdraws >= 1 && w.Withdraws <= i {
			out[w.Withdraws-1].Withdrawn = true
		}
	}
	return out, nil
}

// NotThere tells that there is no such decision to take back.
type NotThere struct {
	Kind      string
	Place     int
	Withdrawn bool // it was taken back before
}

// Error says which.
func (e *NotThere) Error() string {
	if e.Withdrawn {
		return fmt.Sprintf("%s %d was withdrawn before", e.Kind, e.Place)
	}
	return fmt.Sprintf("there is no %s %d", e.Kind, e.Place)
}

// TakeBack takes a decision of a kind back by its place; the error is a *NotThere
// where none that counts has it.
func TakeBack(ctx context.Context, ledger Ledger, kind string, w Withdrawal) error {
	_, err := ledger.Decide(ctx, kind, func(before []Decision) (any, error) {
		all, err := Place(before)
		if err != nil {
			return nil, err
		}
		if w.Withdraws < 1 || w.Withdraws > len(all) || all[w.Withdraws-1].Takes != nil {
			return nil, &NotThere{Kind: kind, Place: w.Withdraws}
		}
		if all[w.Withdraws-1].Withdrawn {
			return nil, &NotThere{Kind: kind, Place: w.Withdraws, Withdrawn: true}
		}
		return w, nil
	})
	return err
}
