package audit

import (
	"fmt"
	"slices"
	"strings"
)

// roleWords are what the roles of a lab are called with, in the countries where these
// reports are written in English. An owner made of other words may be a person.
var roleWords = []string{
	"administrator", "assistant", "associate", "audit", "biomedical", "cardiac", "cardiologist", "cardiologists", "cardiology", "chief", "clinical", "clinician", "committee",
	"consultant", "coordinator", "data", "department", "deputy", "director", "echo", "echocardiographer", "echocardiographers", "echocardiography", "education", "engineer", "fellow",
	"fellows", "governance", "group", "head", "imaging", "informatics", "it", "lab", "laboratory", "lead", "manager", "medical", "nurse", "officer", "pacs", "paediatric", "pediatric",
	"physician", "physicians", "physiologist", "physiologists", "quality", "reader", "readers", "registrar", "safety", "scheduler", "scientist", "secretary", "senior", "service", "site",
	"sonographer", "sonographers", "specialist", "staff", "stress", "superintendent", "supervisor", "system", "systems", "team", "technical", "technician", "technologist", "trainee",
	"trainees", "training", "ultrasound",
}

// joiningWords stand between words of a role and make none.
var joiningWords = []string{"all", "and", "for", "in", "of", "on", "the"}

// RoleWords lists the words that a role is made of.
func RoleWords() []string { return roleWords }

// IsRole reports whether the owner of an action is a role, made of known words and
// numbers, so that it can stand in documents that name nobody.
func IsRole(owner string) bool { return NoRole(owner) == "" }

// NoRole says why an owner is no role, "" for one that is. It tells which word is not
// known by its place, since the word may be a name.
func NoRole(owner string) string {
	named := false
	for i, w := range strings.FieldsFunc(strings.ToLower(owner), func(r rune) bool { return strings.ContainsRune(" -,/", r) }) {
		switch {
		case slices.Contains(roleWords, w):
			named = true
		case !slices.Contains(joiningWords, w) && (strings.Trim(w, "0123456789") != "" || len(w) > 2):
			return fmt.Sprintf("word %d of it is none that roles are made of", i+1)
		}
	}
	if !named {
		return "no word of it names a role" // a number alone may be that of a person
	}
	return ""
}

// OwnerShown is the owner where it is a role; another, of an older log, may be a
// name and is not shown.
func (a Action) OwnerShown() string {
	if a.Owner == "" || IsRole(a.Owner) {
		return a.Owner
	}
	return "(not shown: no role)"
}
