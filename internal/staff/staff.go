// Package staff owns which account of the page is which member of staff of a ledger.
//
// It stands among the decisions of the ledger, the account by a keyed hash and the
// person by the ledger's pseudonym, so that neither file nor chain names anybody, and
// each ledger knows its own people.
package staff

import (
	"context"
	"errors"
	"strings"

	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/store/keyfile"
)

// Kind of these decisions in the ledger.
const kind = "account of staff"

// tie says that an account is a member of staff; the latest of an account holds.
type tie struct {
	Account string `json:"account"`          // keyed hash of its name
	Person  string `json:"person,omitempty"` // pseudonym, "" for nobody any more
	By      string `json:"by"`               // keyed hash of the account that said so
}

// Reasons for which an account cannot be tied to a person.
var (
	ErrNobody = errors.New("the ledger knows no such member of staff")
	ErrTaken  = errors.New("another account is this member of staff")
)

// Mark stands for an account in a ledger; it tells the name to nobody without the key.
func Mark(key *keyfile.Key, account string) string {
	return key.Opaque("account\x00" + strings.ToLower(account))
}

// Ties are the members of staff, by the marks of their accounts.
type Ties map[string]string

// Read gives the ties that hold.
func Read(ctx context.Context, s *store.Store) (Ties, error) {
	list, err := decision.Standing[tie](ctx, s, kind)
	return hold(list), err
}

// Of is the member of staff that an account is, by pseudonym, "" for none.
func Of(ctx context.Context, s *store.Store, key *keyfile.Key, account string) (string, error) {
	ties, err := Read(ctx, s)
	return ties[Mark(key, account)], err
}

func hold(list []tie) Ties {
	out := Ties{}
	for _, t := range list {
		if out[t.Account] = t.Person; t.Person == "" {
			delete(out, t.Account)
		}
	}
	return out
}

// Tie says that an account is a member of staff, by pseudonym, "" for nobody any more.
// By is the account that says so. A member of staff has one account.
func Tie(ctx context.Context, s *store.Store, key *keyfile.Key, account, person, by string) error {
	mark := Mark(key, account)
	_, err := s.Decide(ctx, kind, func(before []decision.Decision) (any, error) {
		all, err := decision.SaidOf[tie](before)
		if err != nil {
			return nil, err
		}
		for other, taken := range hold(decision.Counting(all)) {
			if taken == person && other != mark {
				return nil, ErrTaken
			}
		}
		return tie{mark, person, Mark(key, by)}, nil
	})
	return err
}

// Person reads whom a text means: a pseudonym of the ledger, or a name as the reports
// write it. Known are the pseudonyms there are; the error is ErrNobody for another.
func Person(key *keyfile.Key, text string, known map[string]bool) (string, error) {
	text = strings.TrimSpace(text)
	for _, one := range []string{text, key.Pseudonym(text)} {
		if one != "" && known[one] {
			return one, nil
		}
	}
	return "", ErrNobody
}
