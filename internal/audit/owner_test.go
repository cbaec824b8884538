package audit_test

import (
	"testing"

	"echotally/internal/audit"
)

// An owner that may be a person's name is not shown, whatever it is spelled like.
func TestOwnersThatMayBePersonsAreNotShown(t *testing.T) {
	for owner, role := range map[string]bool{
		"lead sonographer": true, "quality-manager": true, "Medical Director": true, "sonographer 2": true, "lead": true,
		"Ines Marrow": false, "Marrow^Ines": false, "I. Marrow": false, "lead sonographer Marrow": false, "": false,
	} {
		if audit.IsRole(owner) != role {
			t.Errorf("%q: a role %v", owner, !role)
		}
		if shown := (audit.Action{Owner: owner}).OwnerShown(); !role && owner != "" && shown == owner {
			t.Errorf("%q is shown", owner)
		}
	}
}
