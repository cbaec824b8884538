package coding_test

import (
	"encoding/csv"
	"os"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/srtest"
)

// The context groups of PS3.16 in three editions: every legacy id they carry
// leads to the SCT code of its row, and their check digits are right.
func TestContextGroups(t *testing.T) {
	f, err := os.Open(srtest.Shared(t, "standard", "contextgroups.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		c := coding.CodedConcept{CodeValue: row[3], CodingSchemeDesignator: row[2]}
		// 8822-3 is a misprint of 8822-9 in CID 3835 of 2009
		if k := (coding.Key{CodeValue: row[3], CodingSchemeDesignator: row[2]}); !k.CheckDigit() && row[3] != "8822-3" {
			t.Errorf("CID %s: %s has a wrong check digit", row[0], k)
		}
		if row[5] == "" || row[2] != "SCT" {
			continue
		}
		old := coding.CodedConcept{CodeValue: row[5], CodingSchemeDesignator: "SRT"}
		if old.Key() != c.Key() {
			t.Errorf("CID %s: %s is %s, its legacy form %s", row[0], row[5], c.Key(), old.Key())
		}
	}
}
