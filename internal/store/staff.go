package store

import (
	"context"
	"database/sql"
)

// Staff are the roles on the lab's list of staff, by pseudonym.
func (s *Store) Staff(ctx context.Context) (map[string]string, error) {
	out := map[string]string{}
	err := s.look(ctx, func(v *view) error {
		return v.rows(sqlStaff, nil, func(rows *sql.Rows) error {
			var who, role string
			err := rows.Scan(&who, &role)
			out[who] = role
			return err
		})
	})
	return out, s.wrap("read staff", err)
}

// Labs are the labs that the list of stations names, by name.
func (s *Store) Labs(ctx context.Context) ([]string, error) {
	var out []string
	err := s.look(ctx, func(v *view) (err error) { out, err = column[string](v, sqlLabs); return err })
	return out, s.wrap("read stations", err)
}
