package actionlog_test

import (
	"testing"

	"echotally/internal/actionlog"
)

// An owner that may be a person's name is not shown, whatever it is spelled like.
func TestOwnersThatMayBePersonsAreNotShown(t *testing.T) {
	for owner, role := range map[string]bool{
		"lead sonographer": true, "quality-manager": true, "Medical Director": true, "sonographer 2": true, "lead": true,
		"Lead cardiac physiologist": true, "consultant cardiologist": true, "head of the echo lab": true,
		"Ines Marrow": false, "Marrow^Ines": false, "I. Marrow": false, "lead sonographer Marrow": false, "": false,
		"4711": false, "sonographer 4711": false, "of the": false,
	} {
		if actionlog.IsRole(owner) != role {
			t.Errorf("%q: a role %v", owner, !role)
		}
		if shown := (actionlog.Action{Owner: owner}).OwnerShown(); !role && owner != "" && shown == owner {
			t.Errorf("%q is shown", owner)
		}
	}
}

// What refuses an owner says which word, and does not say the word again.
func TestARefusedOwnerIsNotRepeated(t *testing.T) {
	if why := actionlog.NoRole("lead sonographer Marrow"); why != "word 3 of it is none that roles are made of" {
		t.Error(why)
	}
	if why := actionlog.NoRole("4711"); why == "" || why == actionlog.NoRole("the") {
		t.Error(why)
	}
}
