// Package waiver owns the reasons a lab gives for something that was not measured: what
// they may be, what each does to the figures, and who may give them.
package waiver

// Effect is what a waiver does to the figure with exceptions; the strict figure
// counts the item as missing whatever the waiver.
type Effect string

// Effects of waivers.
const (
	Exception Effect = "exception" // tried in earnest: leaves the denominator when the item is missing
	Exclusion Effect = "exclusion" // the item has no meaning here: leaves the denominator
	Missing   Effect = "missing"   // told as a line of its own, and counted as missing
)

// Reason is why something was not measured. The codes and their effects are
// ours (site choice).
type Reason struct {
	Code    string
	Effect  Effect
	Meaning string
}

// Reasons are all reasons a waiver may give.
func Reasons() []Reason {
	return []Reason{
		{"no-signal", Exception, "no complete jet envelope from two windows or with contrast considered"},
		{"poor-window", Exception, "border or segment not seen, study quality stated as poor"},
		{"not-seen", Exception, "the structure could not be shown"},
		{"declined", Exception, "the patient declined or ended the study"},
		{"too-ill", Exception, "unstable, ventilated, cannot be turned, wound or dressing in the way"},
		{"set-aside", Exception, "the reader judged the measurement not reliable"},
		{"rhythm", Exclusion, "the rhythm makes it meaningless"},
		{"anatomy", Exclusion, "prosthesis, transplant, device or congenital anatomy"},
		{"out-of-scope", Exclusion, "limited or focused order, the item is not part of it"},
		{"no-time", Missing, "the list did not leave the time"},
		{"no-equipment", Missing, "the scanner lacks the function, or it failed"},
		{"untrained", Missing, "nobody trained for it was there"},
		{"recent", Missing, "measured a short time ago and not repeated"},
		{"elsewhere", Missing, "stated in the report or another system, not in the structured report"},
		{"no-reason", Missing, "no reason can be given"},
	}
}

// Roles may give a waiver.
var Roles = []string{"sonographer", "reader", "trainee", "technical-director", "medical-director", "quality-manager"}

// Waiver is a reason the lab gave for something not measured.
type Waiver struct {
	Number    int64
	Study     string // Study Instance UID
	Rule      string
	Reason    string
	Effect    Effect
	Role      string
	At        string // RFC 3339, UTC
	Late      bool   // given after sign-off
	Withdrawn bool
}
