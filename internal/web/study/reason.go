package study

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/account/session"
	"echotally/internal/finding"
	"echotally/internal/store/waiver"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

// reasonsPart is what is missing with the reasons recorded, and to be recorded.
type reasonsPart struct {
	Missing []missing
	Given   []given
	Codes   []waiver.Reason
	Roles   []string // in which who asks may give one
}

// missing is something that was not measured and has no reason yet.
type missing struct{ Rule, Title, Words string }

// given is a reason that was recorded.
type given struct {
	Number       int64
	Title        string
	Code, Means  string
	Effect, Role string
	At           time.Time
	Late         bool
	Note         string
}

// effects say what a reason does to the lab's figures.
var effects = map[waiver.Effect]string{
	waiver.Exception: "counts as missing in the strict figure, and leaves the figure with exceptions",
	waiver.Exclusion: "counts as missing in the strict figure, and leaves the figure with exceptions: it has no meaning here",
	waiver.Missing:   "counts as missing in both figures",
}

// rolesOf are the roles in which a session may give a reason.
func rolesOf(s *session.Session) []string {
	var out []string
	for _, r := range s.Roles {
		if slices.Contains(waiver.Roles, string(r)) {
			out = append(out, string(r))
		}
	}
	return out
}

// waivable reports whether a result is something a reason can be given for: a
// contradiction is never true, whatever the reason.
func waivable(r *finding.Result) bool {
	return r.Outcome == finding.Fail && r.Kind != finding.Consistency && r.Severity.Rank() > finding.Information.Rank() && !r.PerLab
}

func reasonsOf(c *frame.Call, st *state) reasonsPart {
	out := reasonsPart{Codes: waiver.Reasons(), Roles: rolesOf(c.Session)}
	for i := range st.judgement.Results {
		r := &st.judgement.Results[i]
		if waivable(r) && !slices.ContainsFunc(st.waivers, func(w waiver.Waiver) bool { return w.Rule == r.Rule }) {
			out.Missing = append(out.Missing, missing{r.Rule, r.Title, r.Message})
		}
	}
	for _, w := range st.waivers {
		g := given{Number: w.Number, Title: titleOf(st, w.Rule), Code: spaced(w.Reason), Effect: effects[w.Effect], Role: spaced(w.Role), Late: w.Late}
		g.At, _ = time.Parse(time.RFC3339, w.At) // as the ledger wrote it
		for _, known := range out.Codes {
			if known.Code == w.Reason {
				g.Means = known.Meaning
			}
		}
		out.Given = append(out.Given, g)
	}
	return out
}

// titleOf is what a rule is called, by its identifier where it is not known any more.
func titleOf(st *state, rule string) string {
	for i := range st.judgement.Results {
		if r := &st.judgement.Results[i]; r.Rule == rule {
			return r.Title
		}
	}
	return rule
}

// mostOfNote bounds the words beside a reason, in bytes.
const mostOfNote = 1000

// Reason records why something was not measured.
func (p *Pages) Reason(c *frame.Call) error {
	st, err := p.posted(c)
	if err != nil {
		return err
	}
	form := c.R.PostForm
	w := waiver.Waiver{Study: st.uid, Rule: form.Get("rule"), Reason: form.Get("reason"), Role: form.Get("role")}
	note := strings.TrimSpace(form.Get("note"))
	failed := st.judgement != nil && slices.ContainsFunc(st.judgement.Results, func(r finding.Result) bool { return r.Rule == w.Rule && waivable(&r) })
	switch {
	case !failed:
		return frame.Bad("This is not missing in the study, or it is a contradiction.", "No reason makes a contradiction true: have the report corrected.")
	case slices.ContainsFunc(st.waivers, func(o waiver.Waiver) bool { return o.Rule == w.Rule }):
		return frame.Bad("A reason is recorded for this already.", "Withdraw it first.")
	case !slices.ContainsFunc(waiver.Reasons(), func(r waiver.Reason) bool { return r.Code == w.Reason }):
		return frame.Bad("No reason was chosen.", "Choose why it was not measured.")
	case !slices.Contains(rolesOf(c.Session), w.Role):
		return frame.Bad("You cannot give a reason in this role.", "Choose a role that your account has.")
	case len(note) > mostOfNote:
		return frame.Bad("The note is too long.", "A sentence or two will do.")
	}
	if _, err := c.Lab.Ledger.Waive(c.R.Context(), w, note); err != nil {
		return err
	}
	c.Did(trail.Create, "reason for not measured")
	return c.Go(c.Lab.Study(st.uid) + "#reasons")
}

// Withdraw ends a reason; both stay in the ledger.
func (p *Pages) Withdraw(c *frame.Call) error {
	st, err := p.posted(c)
	if err != nil {
		return err
	}
	number, err := strconv.ParseInt(c.R.PostForm.Get("number"), 10, 64)
	roles := rolesOf(c.Session)
	if err != nil || len(roles) == 0 || !slices.ContainsFunc(st.waivers, func(w waiver.Waiver) bool { return w.Number == number }) {
		return frame.Bad("There is no such reason on this study.", "It may have been withdrawn meanwhile.")
	}
	if err := c.Lab.Ledger.Withdraw(c.R.Context(), number, roles[0]); err != nil {
		return err
	}
	c.Did(trail.Update, "reason withdrawn")
	return c.Go(c.Lab.Study(st.uid) + "#reasons")
}

// posted reads a form that was sent about a study.
func (p *Pages) posted(c *frame.Call) (*state, error) {
	uid, err := c.Lab.UID(c.R.Context(), c.R.PathValue("token"))
	if err != nil {
		return nil, err
	}
	c.About(uid)
	if err := c.R.ParseForm(); err != nil {
		return nil, err
	}
	return read(c.R.Context(), c.Lab, uid)
}
