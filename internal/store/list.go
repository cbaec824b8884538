package store

import (
	"context"
	"io"
	"slices"
	"strings"

	"echotally/internal/store/lablist"
)

// ListReceipt says what taking in a list came to.
type ListReceipt struct {
	Rows, Changed int // good rows, and those that said something new
	Faults        []lablist.Fault
}

// Import takes in a list. Good rows are kept, whatever is wrong with others; an
// error means that nothing was.
//
// Each check says what is wrong with the cells of a row that the ledger itself
// cannot know; nil for nothing.
func (s *Store) Import(ctx context.Context, kind lablist.Kind, r io.Reader, checks ...func(cells map[string]string) *lablist.Fault) (*ListReceipt, error) {
	if s.key == nil {
		return nil, errNoKey
	}
	list, err := lablist.Read(kind, r)
	if err != nil {
		return nil, err
	}
	out := &ListReceipt{Faults: list.Faults}
	take := map[lablist.Kind]func(*tx, map[string]string) (bool, error){lablist.Roster: s.takeStaff, lablist.Signoff: s.takeStamp, lablist.Labs: takeStation,
		lablist.Correlation: s.takeOutside(lablist.Correlation), lablist.Appropriateness: s.takeOutside(lablist.Appropriateness)}[kind]
	err = s.write(ctx, "take in "+string(kind), func(t *tx) error {
		for _, row := range list.Rows {
			if fault := checked(row, kind, checks); fault != nil {
				out.Faults = append(out.Faults, *fault)
				continue
			}
			changed, err := take(t, row.Cells)
			if err != nil {
				return err
			}
			out.Rows++
			out.Changed += boolBit(changed)
		}
		if len(t.touched) == 0 {
			return nil
		}
		return t.event("", "listed", map[string]string{"list": string(kind)})
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(out.Faults, func(a, b lablist.Fault) int { return a.Line - b.Line })
	return out, nil
}

// checked asks the checks of who gives the list before those of its kind.
func checked(row lablist.Row, kind lablist.Kind, checks []func(map[string]string) *lablist.Fault) *lablist.Fault {
	for _, check := range checks {
		if fault := check(row.Cells); fault != nil {
			fault.Line = row.Line
			return fault
		}
	}
	return row.Check(kind)
}

func (s *Store) takeStaff(t *tx, c map[string]string) (bool, error) {
	role, pseudonym := strings.ToLower(c["role"]), s.key.Pseudonym(c["name"])
	same, err := t.integer(sqlSameStaff, pseudonym, role)
	if err != nil || same > 0 {
		return false, err
	}
	t.touch("staff", pseudonym)
	return true, t.run(sqlSetStaff, pseudonym, role)
}

func takeStation(t *tx, c map[string]string) (bool, error) {
	same, err := t.integer(sqlSameStation, c["station"], c["lab"], c["site"], c["timezone"])
	if err != nil || same > 0 {
		return false, err
	}
	t.touch("station", c["station"])
	return true, t.run(sqlSetStation, c["station"], c["lab"], c["site"], c["timezone"])
}

func (s *Store) takeStamp(t *tx, c map[string]string) (bool, error) {
	uid, lookup := c["study"], s.key.Lookup(c["accession"])
	if uid == "" {
		if _, err := t.row(sqlOfAccession, []any{lookup}, &uid); err != nil {
			return false, err
		}
	}
	setting := strings.ToLower(c["setting"])
	same, err := t.integer(sqlSameStamp, uid, lookup, setting, c["ended"], c["read"], c["signed"])
	if err != nil || same > 0 {
		return false, err
	}
	id, err := t.insert(sqlAddStamp, uid, lookup, setting, c["ended"], c["read"], c["signed"], t.now)
	t.touch("stamp", id)
	return true, err
}
