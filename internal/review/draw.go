package review

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// Factor is what a draw is stratified by.
type Factor string

// Factors.
const (
	Sonographer Factor = "sonographer"
	Reader      Factor = "reader"
	Scanner     Factor = "scanner"
	Finding     Factor = "finding"
)

// Factors are all of them.
func Factors() []Factor { return []Factor{Sonographer, Reader, Scanner, Finding} }

// FactorsOf reads names of factors; wrong is the first that is none, or stands twice.
func FactorsOf(names []string) (out []Factor, wrong string) {
	for _, name := range names {
		one := Factor(name)
		if !slices.Contains(Factors(), one) || slices.Contains(out, one) {
			return nil, name
		}
		out = append(out, one)
	}
	return out, ""
}

// Unknown is the level of a study of which the factor is not known. It is a
// stratum like any other, so that nobody's work escapes by not being named.
const Unknown = "(not known)"

// Candidate is a study that may be drawn.
type Candidate struct {
	Study    string            `json:"study"` // Study Instance UID
	Date     string            `json:"date"`
	Levels   map[Factor]string `json:"levels"` // persons by pseudonym
	Excluded string            `json:"excluded,omitempty"`
}

// Plan is what is to be drawn.
type Plan struct {
	Period   string   `json:"period"`
	From     string   `json:"from"`
	To       string   `json:"to"`
	Lab      string   `json:"lab,omitempty"` // one lab of several alone
	Quota    int      `json:"quota"`
	By       []Factor `json:"by,omitempty"`
	Seed     string   `json:"seed"`
	Software string   `json:"softwareVersion"`
}

// Draw is a sample of the studies of a period, with all that is needed to draw it
// again: the frame, what was left out of it and why, and the seed.
type Draw struct {
	Number int `json:"number"`
	Plan
	Frame  []Candidate `json:"frame"`       // in the order of their UIDs, those left out among them
	Digest string      `json:"frameDigest"` // SHA-256 over the frame
	Strata []Stratum   `json:"strata"`
	Cases  []Case      `json:"cases"`
}

// Stratum is the studies that share their levels.
type Stratum struct {
	Levels  []string `json:"levels,omitempty"` // in the order of the factors
	Studies int      `json:"studies"`
	Drawn   int      `json:"drawn"`
}

// Weight is how many studies of the stratum one of its cases stands for, NaN when
// none was drawn.
func (s Stratum) Weight() float64 {
	if s.Drawn == 0 {
		return math.NaN()
	}
	return float64(s.Studies) / float64(s.Drawn)
}

// Case is a study that was drawn, with what was reported of it at that time.
type Case struct {
	Number   int      `json:"number"`
	Study    string   `json:"study"`
	Date     string   `json:"date"`
	Stratum  int      `json:"stratum"`
	Reported Reported `json:"reported"`
	Readers  []string `json:"readers,omitempty"` // pseudonyms of who measured or read it
}

// NewDraw draws. A study's place in the order of drawing is the SHA-256 of the
// seed, a line feed and its Study Instance UID, so that anybody can draw again
// with any tool. While the quota lasts every stratum gets one case, those first
// that bring a level none has brought; each further case goes to the stratum in
// which one would then stand for most studies. Cases of the draws before are left
// out.
func NewDraw(number int, plan Plan, frame []Candidate, before []Draw) (*Draw, error) {
	if plan.Quota < 1 {
		return nil, errors.New("a draw needs a quota of at least 1")
	}
	d := &Draw{Number: number, Plan: plan, Frame: slices.Clone(frame)}
	drawn := map[string]int{}
	for _, earlier := range before {
		for _, c := range earlier.Cases {
			drawn[c.Study] = earlier.Number
		}
	}
	slices.SortFunc(d.Frame, func(a, b Candidate) int { return cmp.Compare(a.Study, b.Study) })
	h := sha256.New()
	strata := map[string][]int{}
	for i := range d.Frame {
		c := &d.Frame[i]
		if n := drawn[c.Study]; n > 0 && c.Excluded == "" {
			c.Excluded = fmt.Sprintf("drawn before (draw %d)", n)
		}
		fmt.Fprintf(h, "%s\n%s\n%s\n", c.Study, c.key(plan.By), c.Excluded)
		if c.Excluded == "" {
			strata[c.key(plan.By)] = append(strata[c.key(plan.By)], i)
		}
	}
	d.Digest = hex.EncodeToString(h.Sum(nil))
	if len(strata) == 0 {
		return nil, fmt.Errorf("no study of %s can be drawn: %s", plan.Period, d.whyNone())
	}
	d.take(strata)
	return d, nil
}

// key names the stratum of the candidate.
func (c *Candidate) key(by []Factor) string { return strings.Join(c.levels(by), between) }

const between = "\x1f"

func (c *Candidate) levels(by []Factor) []string {
	var out []string
	for _, f := range by {
		out = append(out, cmp.Or(c.Levels[f], Unknown))
	}
	return out
}

func (d *Draw) whyNone() string {
	if len(d.Frame) == 0 {
		return "the ledger holds none"
	}
	var reasons []string
	for _, e := range d.Exclusions() {
		reasons = append(reasons, fmt.Sprintf("%d %s", e.Count, e.Reason))
	}
	return strings.Join(reasons, ", ")
}

// take fills in strata and cases.
func (d *Draw) take(strata map[string][]int) {
	keys := d.inTurn(slices.Collect(maps.Keys(strata)))
	sizes := make([]int, len(keys))
	for i, k := range keys {
		sizes[i] = len(strata[k])
	}
	for i, n := range allocate(sizes, d.Quota) {
		members := strata[keys[i]]
		slices.SortFunc(members, func(a, b int) int { return cmp.Compare(d.place(d.Frame[a].Study), d.place(d.Frame[b].Study)) })
		d.Strata = append(d.Strata, Stratum{Levels: d.Frame[members[0]].levels(d.By), Studies: len(members), Drawn: n})
		for _, m := range members[:n] {
			d.Cases = append(d.Cases, Case{Study: d.Frame[m].Study, Date: d.Frame[m].Date, Stratum: i})
		}
	}
	// The order of the cases says nothing of where they come from.
	slices.SortFunc(d.Cases, func(a, b Case) int { return cmp.Compare(d.place(a.Study), d.place(b.Study)) })
	for i := range d.Cases {
		d.Cases[i].Number = i + 1
	}
}

// inTurn orders strata: next is always the one that brings most levels that none
// before it has, of several the first in the order of drawing.
func (d *Draw) inTurn(keys []string) []string {
	slices.SortFunc(keys, func(a, b string) int { return cmp.Or(cmp.Compare(d.place(a), d.place(b)), cmp.Compare(a, b)) })
	var out []string
	have := map[string]bool{}
	levels := func(key string) (out []string) {
		for i, level := range strings.Split(key, between) {
			out = append(out, fmt.Sprint(i, between, level))
		}
		return out
	}
	for len(keys) > 0 {
		next, most := 0, -1
		for i, key := range keys {
			brings := 0
			for _, level := range levels(key) {
				if !have[level] {
					brings++
				}
			}
			if brings > most {
				next, most = i, brings
			}
		}
		for _, level := range levels(keys[next]) {
			have[level] = true
		}
		out = append(out, keys[next])
		keys = slices.Delete(keys, next, next+1)
	}
	return out
}

// place is where something stands in the order of drawing.
func (d *Draw) place(name string) string {
	sum := sha256.Sum256([]byte(d.Seed + "\n" + name))
	return hex.EncodeToString(sum[:])
}

// allocate shares a quota out: one to each stratum in their order while it lasts,
// the rest by size, none more than it has.
func allocate(sizes []int, quota int) []int {
	out := make([]int, len(sizes))
	all := 0
	for _, n := range sizes {
		all += n
	}
	quota = min(quota, all)
	for i := range out {
		if quota > 0 {
			out[i], quota = 1, quota-1
		}
	}
	for quota > 0 {
		next, most := -1, math.Inf(-1)
		for i, n := range sizes {
			if each := float64(n) / float64(out[i]+1); out[i] < n && each > most {
				next, most = i, each
			}
		}
		out[next]++
		quota--
	}
	return out
}

// Exclusion is a reason for which studies of the frame could not be drawn.
type Exclusion struct {
	Reason string
	Count  int
}

// Exclusions are the reasons, the commonest first.
func (d *Draw) Exclusions() []Exclusion {
	counts := map[string]int{}
	for _, c := range d.Frame {
		if c.Excluded != "" {
			counts[c.Excluded]++
		}
	}
	var out []Exclusion
	for _, reason := range slices.Sorted(maps.Keys(counts)) {
		out = append(out, Exclusion{reason, counts[reason]})
	}
	slices.SortStableFunc(out, func(a, b Exclusion) int { return cmp.Compare(b.Count, a.Count) })
	return out
}

// Shortage says in words what the quota could not reach, "" when it reached all.
func (d *Draw) Shortage() string {
	var out []string
	if len(d.Cases) < d.Quota {
		out = append(out, fmt.Sprintf("%d cases were asked for and %d studies could be drawn", d.Quota, len(d.Cases)))
	}
	for i, f := range d.By {
		all, reached := map[string]bool{}, map[string]bool{}
		for _, s := range d.Strata {
			all[s.Levels[i]] = true
			if s.Drawn > 0 {
				reached[s.Levels[i]] = true
			}
		}
		if len(reached) < len(all) {
			out = append(out, fmt.Sprintf("by %s, %d of %d are among the cases: a larger quota reaches more", f, len(reached), len(all)))
		}
	}
	return strings.Join(out, "; ")
}

// Find gives the case with the number, nil for none.
func (d *Draw) Find(number int) *Case {
	if number < 1 || number > len(d.Cases) {
		return nil
	}
	return &d.Cases[number-1]
}

// Eligible is how many studies could be drawn.
func (d *Draw) Eligible() int {
	n := 0
	for _, s := range d.Strata {
		n += s.Studies
	}
	return n
}
