package audit

import (
	"slices"
	"strings"
)

// roleWords are what the roles of a lab are called with. An owner made of other
// words may be a person.
var roleWords = []string{
	"administrator", "assistant", "associate", "cardiologist", "chief", "clinical", "committee", "coordinator", "data", "department", "deputy", "director", "echo", "education",
	"engineer", "fellow", "head", "informatics", "it", "lab", "laboratory", "lead", "manager", "medical", "nurse", "pacs", "physician", "quality", "reader", "scheduler",
	"secretary", "senior", "service", "site", "sonographer", "sonographers", "physicians", "readers", "staff", "superintendent", "supervisor", "team", "technical", "technician", "technologist",
	"trainee", "training", "all", "and", "for", "of", "the",
}

// RoleWords lists the words that a role is made of.
func RoleWords() []string { return slices.Sorted(slices.Values(roleWords)) }

// IsRole reports whether the owner of an action is a role, made of known words and
// numbers, so that it can stand in documents that name nobody.
func IsRole(owner string) bool {
	words := strings.FieldsFunc(strings.ToLower(owner), func(r rune) bool { return r == ' ' || r == '-' || r == ',' || r == '/' })
	return len(words) > 0 && !slices.ContainsFunc(words, func(w string) bool {
		return !slices.Contains(roleWords, w) && strings.Trim(w, "0123456789") != ""
	})
}

// OwnerShown is the owner where it is a role; another, of an older log, may be a
// name and is not shown.
func (a Action) OwnerShown() string {
	if a.Owner == "" || IsRole(a.Owner) {
		return a.Owner
	}
	return "(not shown: no role)"
}
