package store_test

import (
	"path/filepath"
	"testing"

	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/internal/storetest"
)

func TestContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Ledger {
		dir := t.TempDir()
		key, err := keyfile.Make(filepath.Join(dir, "key"))
		if err != nil {
			t.Fatal(err)
		}
		s, err := store.Open(t.Context(), filepath.Join(dir, "ledger.db"), store.Options{Key: key})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		return s
	})
}
