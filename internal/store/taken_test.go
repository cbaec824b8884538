package store

import (
	"bytes"
	"context"
	"testing"
)

// TestRowsAreMadeAnew holds the driver to what [taken] relies on: a value that was handed
// over is written to by no later row, nor when the rows are closed.
func TestRowsAreMadeAnew(t *testing.T) {
	b := newBench(t)
	const query = `WITH RECURSIVE n (i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < 99)
		SELECT CAST(printf('%08d', i) || printf('%.*c', 20000, char(65 + i % 26)) AS BLOB), printf('%08d', i) FROM n`
	rows, err := b.store.view.QueryContext(context.Background(), query)
	if err != nil {
		t.Fatal(err)
	}
	var kept, copies [][]byte
	for rows.Next() {
		var value, text taken
		if err := rows.Scan(&value, &text); err != nil {
			t.Fatal(err)
		}
		kept, copies = append(kept, value, text), append(copies, bytes.Clone(value), bytes.Clone(text))
	}
	if err := rows.Close(); err != nil {
		t.Fatal(err)
	}
	if len(kept) != 200 || len(kept[0]) < 20000 {
		t.Fatalf("%d values", len(kept))
	}
	for i := range kept {
		if !bytes.Equal(kept[i], copies[i]) {
			t.Errorf("value %d was written to after it was handed over", i)
		}
	}
	var none taken = []byte("before")
	if err := b.store.view.QueryRow("SELECT NULL").Scan(&none); err != nil || none != nil {
		t.Errorf("%q, %v", none, err)
	}
	if err := b.store.view.QueryRow("SELECT 1").Scan(&none); err == nil {
		t.Error("a number was taken for bytes")
	}
}
