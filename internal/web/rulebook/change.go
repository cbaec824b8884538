package rulebook

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"echotally/internal/account"
	"echotally/internal/audit"
	"echotally/internal/census"
	"echotally/internal/library"
	"echotally/internal/library/draft"
	"echotally/internal/rule"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/table"
	"echotally/internal/table/words"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

// change is what a lab would have otherwise about a shipped rule.
type change struct {
	Severity string            // "" as it is
	Rests    bool              // is not asked any more
	Numbers  map[string]string // those that are not as they were
}

// changeOf reads the form.
func changeOf(q url.Values, r *rule.Rule) change {
	c := change{Rests: q.Get("rests") != "", Numbers: map[string]string{}}
	if s := q.Get("severity"); s != r.File.Severity && slices.Contains([]string{"error", "warning", "information"}, s) {
		c.Severity = s
	}
	for name, p := range r.File.Parameters {
		if x := strings.TrimSpace(q.Get("number-" + name)); x != "" && p.Value != "" && x != string(p.Value) {
			c.Numbers[name] = x
		}
	}
	return c
}

func (c change) nothing() bool { return c.Severity == "" && !c.Rests && len(c.Numbers) == 0 }

// words say what is otherwise.
func (c change) words(r *rule.Rule) []string {
	var out []string
	if c.Severity != "" {
		out = append(out, "severity "+severityWord(c.Severity)+" in place of "+severityWord(r.File.Severity))
	}
	if c.Rests {
		out = append(out, "not asked any more")
	}
	for _, name := range sorted(c.Numbers) {
		p := r.File.Parameters[name]
		out = append(out, fmt.Sprintf("%s %s %s in place of %s", strings.ReplaceAll(name, "_", " "), c.Numbers[name], p.Unit, p.Value))
	}
	return out
}

func sorted(m map[string]string) []string {
	var out []string
	for name := range m {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// file is the change as a file of the lab's own folder.
func (c change) file(r *rule.Rule, day time.Time) string {
	var b strings.Builder
	fmt.Fprintf(&b, "identifier: %s\nderivedFrom: %q\napprovalDate: %q\nreviewer: quality-manager\n", r.File.Identifier, r.File.Identifier+"@"+r.File.Version, day.Format(time.DateOnly))
	if c.Severity != "" {
		fmt.Fprintf(&b, "severity: %s\n", c.Severity)
	}
	if c.Rests {
		b.WriteString("status: retired\n")
	}
	if len(c.Numbers) > 0 {
		b.WriteString("parameters:\n")
	}
	for _, name := range sorted(c.Numbers) {
		fmt.Fprintf(&b, "  %s: {value: %q, unit: %q, origin: site choice}\n", name, c.Numbers[name], r.File.Parameters[name].Unit)
	}
	return b.String()
}

// draft is a change of a rule as a file of the lab's own folder.
func changed(identifier, text string) draft.Draft {
	return draft.Draft{Name: identifier + ".yaml", Text: text}
}

// effect is what a change would come to.
type effect struct {
	row
	Words   []string
	Months  string
	Studies string // in which something else is found
	Rates   words.Words
	Rules   words.Words
	File    string
	Form    url.Values
	Wrong   string
	Back    string
	Nothing bool
	Own     bool // the lab's own folder has the rule already: another file of it would take its place
}

// Effect shows what a change would come to before it is proposed. Nothing is changed.
func (p *Pages) Effect(c *frame.Call) error {
	_, one, err := p.find(c)
	if err != nil {
		return err
	}
	v, err := p.effect(c, one, c.R.URL.Query())
	if err != nil {
		return err
	}
	return c.Page(frame.View{Title: "What if: " + one.File.Title, Name: "rule-effect", Data: v})
}

func (p *Pages) effect(c *frame.Call, one *rule.Rule, q url.Values) (*effect, error) {
	want := changeOf(q, one)
	v := &effect{row: rowOf(one), Words: want.words(one), File: want.file(one, c.Now()), Form: q, Back: "/rules/" + one.File.Identifier, Nothing: want.nothing()}
	v.Own = one.Site || p.Site != "" && changed(one.File.Identifier, "").Taken(p.Site)
	if v.Nothing {
		return v, nil
	}
	opt, _, err := p.Period.Lately(c)
	if err != nil {
		return nil, err
	}
	lab, key := c.Lab, "what-if "+v.File
	layer, err := changed(one.File.Identifier, v.File).Layer()
	if err != nil {
		return nil, err
	}
	other, err := p.Load(library.Settings{NoExamples: true}, layer)
	if err != nil {
		v.Wrong = err.Error()
		return v, nil
	}
	made, err := c.Made(key, func(ctx context.Context) (any, error) {
		before, after, err := census.Studies(ctx, lab.Ledger, opt.Period, store.Filter{}, lab.Desk().Library, other)
		if err != nil {
			return nil, err
		}
		return audit.Compare(before, after, opt), nil
	})
	if err != nil {
		return nil, err
	}
	tables := made.([]table.Table)
	v.Months, v.Rates, v.Rules = opt.Period.Words(), words.WordsOf(tables[0]), words.WordsOf(tables[1])
	v.Studies = fmt.Sprint(len(tables[2].Rows))
	return v, nil
}

// entry is a line of the log of changes, which is kept in the ledger.
type entry struct {
	Number int      `json:"number"` // of the change
	Event  string   `json:"event"`  // proposed, adopted, declined
	Rule   string   `json:"rule,omitempty"`
	Words  []string `json:"words,omitempty"`
	Reason string   `json:"reason,omitempty"`
	File   string   `json:"file,omitempty"`
	Effect string   `json:"effect,omitempty"`
	Who    string   `json:"who"` // pseudonym of the account: two persons can be told apart, neither is named
	Roles  string   `json:"roles"`
}

// changeKind is the kind of decisions that changes of rules are.
const changeKind = "rule-change"

// proposal is a change as it stands.
type proposal struct {
	entry
	At, Settled   string
	By, SettledBy string
	State         string // waiting, adopted, declined
	MayDecide     bool
	Path          string
}

func read(list []decision.Decision) ([]entry, error) {
	out := make([]entry, len(list))
	for i, d := range list {
		if err := json.Unmarshal(d.Body, &out[i]); err != nil {
			return nil, fmt.Errorf("decision %d of the ledger: %w", d.Number, err)
		}
	}
	return out, nil
}

// proposals are the changes of a rule, of all for "", the latest first.
func (p *Pages) proposals(c *frame.Call, identifier string) ([]proposal, error) {
	list, err := c.Lab.Ledger.Decisions(c.R.Context(), changeKind)
	if err != nil {
		return nil, err
	}
	entries, err := read(list)
	if err != nil {
		return nil, err
	}
	var out []proposal
	for i, e := range entries {
		day := list[i].At.Format(time.DateOnly)
		if e.Event == "proposed" {
			out = append(out, proposal{entry: e, At: day, By: c.Person(e.Who, e.Roles), State: "waiting", MayDecide: e.Who != c.Who() && c.Session.Has(account.QualityManager, account.Reader), Path: "/rules/" + e.Rule})
			continue
		}
		if k := slices.IndexFunc(out, func(o proposal) bool { return o.Number == e.Number }); k >= 0 {
			out[k].State, out[k].Settled, out[k].SettledBy, out[k].MayDecide = e.Event, day, c.Person(e.Who, e.Roles), false
		}
	}
	slices.Reverse(out)
	return slices.DeleteFunc(out, func(o proposal) bool { return identifier != "" && o.Rule != identifier }), nil
}

func waiting(c *frame.Call) (int, error) {
	all, err := (&Pages{}).proposals(c, "")
	n := 0
	for _, one := range all {
		if one.State == "waiting" {
			n++
		}
	}
	return n, err
}

// Propose records a change that waits for a second person.
func (p *Pages) Propose(c *frame.Call) error {
	_, one, err := p.find(c)
	if err == nil {
		err = c.R.ParseForm()
	}
	if err != nil {
		return err
	}
	reason := strings.TrimSpace(c.R.PostForm.Get("reason"))
	if len(reason) < 5 || len(reason) > 500 || strings.ContainsFunc(reason, func(r rune) bool { return r < ' ' }) {
		return frame.Bad("A change needs its reason, in one line of 5 to 500 letters.", "Say what in the lab asks for it.")
	}
	v, err := p.effect(c, one, c.R.PostForm)
	if frame.BeingMade(err) {
		return frame.Bad("The effect is still being counted.", "Look at it once more, then propose the change; nothing was recorded.")
	}
	if err != nil {
		return err
	}
	if v.Own {
		return frame.Bad("The lab has this rule in its own folder already.", "Change "+changed(v.Identifier, "").Name+" there: a second file of the rule would take the place of the first.")
	}
	if v.Nothing || v.Wrong != "" {
		return frame.Bad("There is nothing to propose, or it is no sound rule.", "Go back and look at the effect first.")
	}
	e := entry{Event: "proposed", Rule: one.File.Identifier, Words: v.Words, Reason: reason, File: v.File, Effect: "something else is found in " + v.Studies + " studies of " + v.Months, Who: c.Who(), Roles: c.Roles()}
	_, err = c.Lab.Ledger.Decide(c.R.Context(), changeKind, func(before []decision.Decision) (any, error) {
		for _, b := range before {
			var old entry
			if json.Unmarshal(b.Body, &old) == nil {
				e.Number = max(e.Number, old.Number)
			}
		}
		e.Number++
		return e, nil
	})
	if err != nil {
		return err
	}
	c.About("rule " + e.Rule)
	c.Did(trail.Create, fmt.Sprintf("proposed change %d", e.Number))
	return c.Go("/rules-changes")
}

// changes are what the lab has otherwise, and what it would have.
type changes struct {
	Differences []difference
	Proposals   []proposal
	Site        bool // there is a folder of the lab's own
	Standing    int  // studies that stand as other rules judged them
	Manager     bool
}

// Changes lists all differences of the lab from the shipped rules, and the changes that
// were proposed.
func (p *Pages) Changes(c *frame.Call) error {
	all, err := p.proposals(c, "")
	if err != nil {
		return err
	}
	v := &changes{Proposals: all, Site: p.Site != ""}
	if v.Differences, err = p.differences(c); err != nil {
		return err
	}
	if v.Standing, err = c.Lab.Unjudged(c.R.Context()); err != nil {
		return err
	}
	v.Manager = c.Session.Has(account.QualityManager)
	return c.Page(frame.View{Title: "Changes of rules", Name: "rule-changes", Data: v})
}

// sound refuses a file with which the rules cannot be read as they lie in the folders
// now: they may have been changed since it was proposed.
func (p *Pages) sound(kept draft.Draft) error {
	layer, err := kept.Layer()
	if err != nil {
		return err
	}
	if _, err := p.Load(library.Settings{NoExamples: true}, layer); err != nil {
		return frame.Bad("The rules cannot be read with this change: "+err.Error(), "Mend what is named there first; nothing was recorded.")
	}
	return nil
}

// keep writes the file, and has studies judged by it from now on.
func (p *Pages) keep(c *frame.Call, kept draft.Draft) error {
	if err := kept.Keep(p.Site); err != nil {
		return err
	}
	if err := p.Renew(); err != nil {
		c.Failed(err) // Health says so, and those of before stay in force
	}
	return nil
}

// Settle adopts or declines a change: somebody else than who proposed it.
func (p *Pages) Settle(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	event := c.R.PostForm.Get("event")
	if event != "adopted" && event != "declined" {
		return frame.Bad("Nothing was chosen.", "Adopt the change or decline it.")
	}
	all, err := p.proposals(c, "")
	if err != nil {
		return err
	}
	i := slices.IndexFunc(all, func(o proposal) bool { return fmt.Sprint(o.Number) == c.R.PathValue("number") })
	switch {
	case i < 0:
		return frame.ErrNotFound
	case all[i].State != "waiting":
		return frame.Bad("The change was "+all[i].State+" already.", "")
	case all[i].Who == c.Who():
		return frame.Bad("Who proposed a change does not adopt it.", "Ask somebody else of the lab: a reader or another quality manager.")
	}
	one := all[i]
	kept := changed(one.Rule, one.File)
	writes := event == "adopted" && p.Site != "" && !c.Lab.Demo
	if writes && kept.Taken(p.Site) {
		return frame.Bad("The lab's own folder has "+kept.Name+" already, which would be lost.", "Write both changes into that file, then decline this one.")
	}
	if writes {
		if err := p.sound(kept); err != nil {
			return err
		}
	}
	settled := errors.New("settled meanwhile")
	_, err = c.Lab.Ledger.Decide(c.R.Context(), changeKind, func(before []decision.Decision) (any, error) {
		entries, err := read(before)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(entries, func(e entry) bool { return e.Number == one.Number && e.Event != "proposed" }) {
			return nil, settled
		}
		return entry{Number: one.Number, Event: event, Who: c.Who(), Roles: c.Roles()}, nil
	})
	if errors.Is(err, settled) {
		return frame.Bad("Somebody else settled the change at the same moment.", "")
	}
	if err != nil {
		return err
	}
	if writes {
		if err := p.keep(c, kept); err != nil {
			return err
		}
	}
	c.About("rule " + one.Rule)
	c.Did(trail.Update, fmt.Sprintf("%s change %d", event, one.Number))
	return c.Go("/rules-changes")
}
