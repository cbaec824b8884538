package account

import "slices"

// Role is what somebody does in the lab; it says which pages are open to them.
type Role string

// Roles of accounts.
const (
	Sonographer    Role = "sonographer"
	Reader         Role = "reader"
	QualityManager Role = "quality-manager"
	Administrator  Role = "administrator" // looks after accounts and the program; sees no patient
)

// Roles lists the roles in the order in which they are shown.
func Roles() []Role { return []Role{Sonographer, Reader, QualityManager, Administrator} }

// Words is the role as it is shown.
func (r Role) Words() string {
	if r == QualityManager {
		return "quality manager"
	}
	return string(r)
}

// Known gives the roles that there are, each once, in their order.
func Known(roles []Role) []Role {
	var out []Role
	for _, r := range Roles() {
		if slices.Contains(roles, r) {
			out = append(out, r)
		}
	}
	return out
}
