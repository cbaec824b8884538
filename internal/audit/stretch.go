package audit

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/control"
	"echotally/internal/stats/runs"
)

// enoughBaseline is how many months before the period make a baseline of their
// own; with fewer the centre line is that of all months of the stretch (site
// choice).
const enoughBaseline = 6

// leastStretch is how many months a stretch between two marks needs for limits
// of its own (site choice: with fewer the limits would follow the points).
const leastStretch = 3

// stretch is months of a chart with limits of their own, from one to before
// another.
type stretch struct{ from, to int }

// stretches cut the months where something was done: what was before and what
// came after do not make common limits. A month belongs to what held for the
// greater part of it. Where two cuts lie too near each other, an action on the
// measure goes before a change of software.
func stretches(months []time.Time, phases []Phase) []stretch {
	cuts := []int{0, len(months)}
	for _, actions := range []bool{true, false} {
		for _, p := range phases {
			at := slices.IndexFunc(months, func(m time.Time) bool { return !m.AddDate(0, 0, 14).Before(p.At) })
			near := slices.ContainsFunc(cuts, func(c int) bool { return at-c < leastStretch && c-at < leastStretch })
			if at > 0 && !near && p.Action == actions {
				cuts = append(cuts, at)
			}
		}
	}
	slices.Sort(cuts)
	var out []stretch
	for i := range cuts[1:] {
		out = append(out, stretch{cuts[i], cuts[i+1]})
	}
	return out
}

func (r *builder) chart(h *Headline, points []stats.Proportion, baseline int) {
	if countPoints(points) < 2 {
		return
	}
	months := make([]time.Time, len(h.Months))
	for i, m := range h.Months {
		months[i] = m.Month
	}
	parts := stretches(months, h.Phases)
	own := make([]control.Stretch, len(parts))
	for k, part := range parts {
		own[k] = control.Stretch{Points: points[part.from:part.to], Baseline: min(max(0, baseline-part.from), part.to-part.from)}
		if countPoints(own[k].Points[:own[k].Baseline]) < enoughBaseline {
			own[k].Baseline = 0
		}
	}
	charts, prime := control.StretchCharts(own)
	if countPoints(points) < enoughBaseline {
		for k, o := range own {
			charts[k], prime = control.PChart(o.Points, o.Baseline), false
		}
	}
	h.Prime = prime
	for k, c := range charts {
		from, to := parts[k].from, parts[k].to
		h.Chart.Values, h.Chart.Limits, h.Chart.Centre = append(h.Chart.Values, c.Values...), append(h.Chart.Limits, c.Limits...), c.Centre
		for range own[k].Points {
			h.Centres = append(h.Centres, c.Centre)
		}
		for _, i := range c.Signals {
			h.Chart.Signals = append(h.Chart.Signals, from+i)
		}
		for _, i := range h.Judged {
			if i >= from && i < to && points[i].Total > 0 {
				r.chancePoint(own[k], i-from, c, prime)
			}
		}
	}
	last := parts[len(parts)-1]
	h.Runs = runs.AnalyseRuns(h.Chart.Values[last.from:last.to])
	r.chartSignals(h, points)
}

// chancePoint adds a month that is judged to what chance may signal.
func (r *builder) chancePoint(own control.Stretch, i int, c control.Chart, prime bool) {
	r.report.Chance.Points++
	chance := normalTail
	if !prime {
		chance = chanceBeyond(own.Points, i, own.Baseline, c)
	}
	r.report.Chance.FalseChart += chance
}

// leastShare is the part of the studies a scanner must make for a change of its
// software to be marked (site choice: a tenth moves no share of all by much).
const leastShare = 0.1

// softwarePhases are the changes of software of the scanners that make much of
// the work, by date.
func softwarePhases(studies []*counted.Study) []Phase {
	var out []Phase
	stations := byDevice(studies, func(d counted.Device) string { return d.Station })
	for _, name := range slices.Sorted(maps.Keys(stations)) {
		if float64(len(stations[name])) < leastShare*float64(len(studies)) {
			continue
		}
		for _, c := range changes(stations[name]) {
			was, is := c.before[0].Device.Software, c.after[0].Device.Software
			first := slices.MinFunc(c.after, func(a, b *counted.Study) int { return a.Date.Compare(b.Date) })
			out = append(out, Phase{At: first.Date, Title: fmt.Sprintf("software of scanner %s from %s to %s", name, was, is)})
		}
	}
	slices.SortStableFunc(out, func(a, b Phase) int { return a.At.Compare(b.At) })
	for i := range out {
		out[i].Mark = letter(i)
	}
	return out
}

// letter gives a, b, and after z aa, ab.
func letter(i int) string {
	if i < 26 {
		return string(rune('a' + i))
	}
	return letter(i/26-1) + letter(i%26)
}

// followed charts the measures of the actions that are no headlines.
func (r *builder) followed() {
	seen := map[string]bool{}
	for _, h := range r.report.Headlines {
		seen[h.Measure.Identifier] = true
	}
	for _, a := range r.opt.Actions {
		m, known := r.opt.Find(a.Measure)
		if !known || seen[m.Identifier] || !r.opt.Period.Look().Holds(a.Started) {
			continue
		}
		seen[m.Identifier] = true
		m.Title, m.Target = r.titleOf(m), math.NaN()
		quiet := &builder{opt: r.opt, now: r.now, look: r.look, before: r.before, later: r.later, report: &Report{}} // no signals of it: the actions' effects tell
		r.report.Followed = append(r.report.Followed, quiet.follow(m))
	}
}
