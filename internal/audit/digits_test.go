package audit_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"echotally/internal/audit"
)

// Two audits of the same studies have the same end digits to the last figure: what
// differs between two reports has changed.
func TestEndDigitsRepeatToTheLastFigure(t *testing.T) {
	rows := func() string {
		for _, table := range audit.Build(quiet(rand.New(rand.NewPCG(5, 8)), 900), options(t)).Tables {
			if table.Identifier == "end-digits" && len(table.Rows) == 3 {
				return fmt.Sprintf("%+v", table.Rows)
			}
		}
		t.Fatal("no end digits of the three measurands")
		return ""
	}
	first := rows()
	for range 10 {
		if again := rows(); again != first {
			t.Fatalf("%s\nand once more\n%s", first, again)
		}
	}
}
