package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/store/fault"
	"echotally/internal/store/waiver"
)

func scanWaiver(scan func(...any) error) (waiver.Waiver, error) {
	var w waiver.Waiver
	err := scan(&w.Number, &w.Study, &w.Rule, &w.Reason, (*string)(&w.Effect), &w.Role, &w.At, &w.Late, &w.Withdrawn)
	return w, err
}

// Waive records a waiver for a rule on a study of the ledger. The note is
// sealed, for it may name somebody. Of a rule on a study one waiver holds at a
// time.
func (s *Store) Waive(ctx context.Context, w waiver.Waiver, note string) (waiver.Waiver, error) {
	const doing = "record waiver"
	known := slices.IndexFunc(waiver.Reasons(), func(r waiver.Reason) bool { return r.Code == w.Reason })
	if known < 0 {
		return w, &fault.Error{Doing: doing, Reason: fmt.Sprintf("unknown reason %q", w.Reason), Hint: "one of " + strings.Join(reasonCodes(), ", ")}
	}
	if err := checkRole(doing, w.Role); err != nil {
		return w, err
	}
	w.Effect = waiver.Reasons()[known].Effect
	err := s.write(ctx, doing, func(t *tx) error {
		n, err := t.integer(sqlHasStudy, w.Study)
		if err != nil {
			return err
		}
		if n == 0 {
			return &fault.Error{Doing: doing, Reason: "the ledger holds no study " + w.Study, Hint: "give the Study Instance UID; echotally intake records studies"}
		}
		w.At = t.now
		same, err := t.row(sqlWaiverHolds, []any{w.Study, w.Rule}, &w.Number, new(string), new(string), &w.Reason, (*string)(&w.Effect), &w.Role, &w.At, &w.Late, &w.Withdrawn)
		if err != nil {
			return err
		}
		if same {
			return &fault.Error{Doing: doing, Reason: fmt.Sprintf("waiver %d holds for this rule on this study already (%s)", w.Number, w.Reason),
				Hint: fmt.Sprintf("withdraw it first: echotally waive withdraw %d", w.Number)}
		}
		signed, err := t.integer(sqlIsSigned, w.Study)
		if err != nil {
			return err
		}
		w.Late = signed > 0
		w.Number, err = t.insert(sqlAddWaiver, w.Study, w.Rule, w.Reason, string(w.Effect), w.Role, w.At, boolBit(w.Late))
		if err != nil {
			return err
		}
		t.touch("waiver", w.Number)
		if note != "" {
			if err := t.sealText("note", strconv.FormatInt(w.Number, 10), "", note); err != nil {
				return err
			}
		}
		return t.event(w.Study, "waived", map[string]string{"rule": w.Rule, "reason": w.Reason})
	})
	return w, err
}

func reasonCodes() []string {
	var out []string
	for _, r := range waiver.Reasons() {
		out = append(out, r.Code)
	}
	return out
}

func checkRole(doing, role string) error {
	if slices.Contains(waiver.Roles, role) {
		return nil
	}
	return &fault.Error{Doing: doing, Reason: fmt.Sprintf("unknown role %q", role), Hint: "one of " + strings.Join(waiver.Roles, ", ")}
}

// Withdraw ends a waiver; both stay in the ledger.
func (s *Store) Withdraw(ctx context.Context, number int64, role string) error {
	const doing = "withdraw waiver"
	if err := checkRole(doing, role); err != nil {
		return err
	}
	return s.write(ctx, doing, func(t *tx) error {
		var w waiver.Waiver
		found, err := t.row(sqlWaiverNumber, []any{number},
			&w.Number, &w.Study, &w.Rule, &w.Reason, (*string)(&w.Effect), &w.Role, &w.At, &w.Late, &w.Withdrawn)
		switch {
		case err != nil:
			return err
		case !found:
			return &fault.Error{Doing: doing, Reason: fmt.Sprintf("there is no waiver %d", number), Hint: "echotally waive list shows them"}
		case w.Withdrawn:
			return &fault.Error{Doing: doing, Reason: fmt.Sprintf("waiver %d was withdrawn before", number)}
		}
		id, err := t.insert(sqlAddWithdrawal, w.Study, w.Rule, w.Reason, string(w.Effect), role, t.now, boolBit(w.Late), number)
		if err != nil {
			return err
		}
		t.touch("waiver", id)
		return t.event(w.Study, "withdrawn", map[string]string{"rule": w.Rule, "waiver": strconv.FormatInt(number, 10)})
	})
}

// Waivers lists the waivers of a study, of all studies when uid is "", also
// those that were withdrawn.
func (s *Store) Waivers(ctx context.Context, uid string) ([]waiver.Waiver, error) {
	var out []waiver.Waiver
	err := s.look(ctx, func(v *view) error {
		return v.rows(sqlWaiversOf, []any{uid, uid}, func(rows *sql.Rows) error {
			w, err := scanWaiver(rows.Scan)
			out = append(out, w)
			return err
		})
	})
	return out, s.wrap("list waivers", err)
}

// Note opens the note of a waiver. It needs the key.
func (s *Store) Note(ctx context.Context, number int64) (string, error) {
	var text string
	err := s.look(ctx, func(v *view) (err error) {
		text, err = s.unseal(v, "note", strconv.FormatInt(number, 10))
		return err
	})
	return text, s.wrap("open note", err)
}
