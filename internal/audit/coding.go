package audit

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"

	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/stats"
	"echotally/internal/table"
)

// byDevice groups the studies by what key says of their device.
func byDevice(studies []*counted.Study, key func(counted.Device) string) map[string][]*counted.Study {
	out := map[string][]*counted.Study{}
	for _, s := range studies {
		if k := key(s.Device); k != "" {
			out[k] = append(out[k], s)
		}
	}
	return out
}

// coding tells how well reports can be read, by scanner and software.
func (r *builder) coding() table.Table {
	t := table.Table{
		Identifier: "coding", Title: "Coding by scanner and software", Note: "Shares of measurements, which are not independent within a study: no intervals are to be read from them.",
		Columns: []table.Column{
			table.NewColumn("scanner", "Scanner", table.Words, "model and software version"), table.NewColumn("studies", "Studies", table.Count, "read studies of the period"),
			table.NewColumn("measurements", "Measurements", table.Count, "results in their reports"),
			table.NewColumn("unnamed", "Code unknown, %", table.Number, "measurements whose code no measurand file names"),
			table.NewColumn("no_view", "View missing, %", table.Number, "measurements that belong to a view and do not state it"),
			table.NewColumn("wrong_unit", "Unit wrong, %", table.Number, "unit not understood or of another kind of quantity"),
			table.NewColumn("no_value", "Empty, %", table.Number, "empty items without a reason"),
		},
	}
	groups := byDevice(r.now, counted.Device.Version)
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		var c counted.Coding
		n := 0
		for _, s := range groups[name] {
			if !s.Unread {
				n++
				c = c.Plus(s.Coding)
			}
		}
		per := func(x, of int) table.Cell {
			if of == 0 {
				return table.NoCell()
			}
			return table.NumberCell(100 * float64(x) / float64(of))
		}
		t.Add(table.TextCell(name), table.CountCell(n), table.CountCell(c.Measurements), per(c.Unnamed, c.Measurements), per(c.WantViews-c.Views, c.WantViews),
			per(c.WrongUnit, c.Measurements), per(c.NoValue, c.Measurements))
	}
	return t
}

// softwareChanges compares each scanner before and after its software changed.
func (r *builder) softwareChanges() table.Table {
	t := table.Table{
		Identifier: "software-changes", Title: "Changes of scanner software", Note: "One scanner with itself: the studies before a new software version against those since, within the months shown. Differences with Newcombe intervals, all rows together 95 % (Bonferroni); tests are Fisher's exact test and belong to the family of the report.",
		Columns: []table.Column{
			table.NewColumn("station", "Scanner", table.Words, "station name and model"), table.NewColumn("change", "Change", table.Words, "software before and after, date of the first study after"),
			table.MachineColumn("measure", "Identifier", table.Words, "identifier of the measure"), table.NewColumn("title", "Measure", table.Words, "the measure in words"), table.NewColumn("before", "Before", table.Share, "studies met before"),
			table.NewColumn("after", "After", table.Share, "studies met since"), table.NewColumn("low", "Difference from", table.Number, "percentage points, lower end of the interval"),
			table.NewColumn("high", "to", table.Number, "percentage points, upper end of the interval"),
		},
	}
	var all []seen
	stations := byDevice(r.look, func(d counted.Device) string { return d.Station })
	for _, name := range slices.Sorted(maps.Keys(stations)) {
		for _, c := range changes(stations[name]) {
			for _, id := range []string{Views, Named, Complete} {
				m, _ := r.opt.Find(id)
				before, after := m.over(c.before), m.over(c.after)
				if min(before.Total, after.Total) >= r.opt.Floor {
					all = append(all, seen{name, c, m, before, after})
				}
			}
		}
	}
	together := stats.Simultaneous(table.Confidence, len(all))
	for _, x := range all {
		software := x.after[0].Device
		_, interval := stats.Difference(x.since, x.was, together)
		t.Add(table.TextCell(x.station+", "+software.Model), table.TextCell(x.text), table.TextCell(x.measure.Identifier), table.TextCell(x.measure.Title), table.ShareCell(x.was), table.ShareCell(x.since), table.NumberCell(100*interval.Low), table.NumberCell(100*interval.High))
		now := x.measure.over(within(x.after, r.opt.Period))
		r.test(stats.FisherExact(x.since, x.was), Signal{
			Kind: OfSoftware, Measure: x.measure.Identifier, Where: x.station, From: x.was, To: x.since, Lost: lost(now, x.was),
			Text: fmt.Sprintf("%s on scanner %s: %s before and %s since software %s", x.measure.Title, x.station, table.Percent(x.was), table.Percent(x.since), software.Software),
		})
	}
	return t
}

// seen is what a measure did at a change of software.
type seen struct {
	station string
	change
	measure    Measure
	was, since stats.Proportion
}

func within(studies []*counted.Study, p calendar.Period) []*counted.Study {
	return slices.DeleteFunc(slices.Clone(studies), func(s *counted.Study) bool { return !p.Holds(s.Date) })
}

// change is a change of software on one station.
type change struct {
	text          string
	before, after []*counted.Study
}

// changes finds them: all studies with the version before, all with the one
// after.
func changes(studies []*counted.Study) []change {
	byDate := slices.Clone(studies)
	sort.SliceStable(byDate, func(i, j int) bool { return byDate[i].Date.Before(byDate[j].Date) })
	var versions []string
	by := map[string][]*counted.Study{}
	for _, s := range byDate {
		v := s.Device.Software
		if v == "" {
			continue
		}
		if by[v] == nil {
			versions = append(versions, v)
		}
		by[v] = append(by[v], s)
	}
	var out []change
	for i := 1; i < len(versions); i++ {
		a, b := by[versions[i-1]], by[versions[i]]
		out = append(out, change{fmt.Sprintf("%s to %s, %s", versions[i-1], versions[i], b[0].Date.Format("2006-01-02")), a, b})
	}
	return out
}

// volumes counts the work by site, modality, scanner and person.
func (r *builder) volumes() table.Table {
	t := table.Table{
		Identifier: "volumes", Title: "Volumes", Note: fmt.Sprintf("Studies of the period. The modality is what the reports state, else what the views they name tell; a study with several transducers counts under each. Persons with fewer than %d are withheld, and one more where the rest would tell.", r.opt.SmallCell),
		Columns: []table.Column{
			table.NewColumn("by", "By", table.Words, "site, kind of study, modality, transducer, what was received, scanner, sonographer or reader"), table.NewColumn("name", "Name", table.Words, "which; persons by code"),
			table.NewColumn("studies", "Studies", table.Count, "studies of the period"),
		},
	}
	plain := func(by string, of func(*counted.Study) string) {
		counts := map[string]int{}
		for _, s := range r.now {
			counts[orUnknown(of(s))]++
		}
		for _, name := range slices.Sorted(maps.Keys(counts)) {
			t.Add(table.TextCell(by), table.TextCell(name), table.CountCell(counts[name]))
		}
	}
	plain("site", func(s *counted.Study) string { return s.Site })
	plain("kind of study", func(s *counted.Study) string { return s.Kind })
	r.mediumVolumes(&t)
	plain("scanner", func(s *counted.Study) string { return strings.TrimSpace(s.Device.Station + " " + s.Device.Version()) })
	for _, one := range roles() {
		staff := r.staff(one)
		if len(staff) < r.opt.People {
			continue
		}
		sizes, hidden := make([]int, len(staff)), make([]bool, len(staff))
		for i, p := range staff {
			sizes[i], hidden[i] = len(p.studies), len(p.studies) < r.opt.SmallCell
		}
		hidden = complement(hidden, sizes)
		for i, p := range staff {
			cell := table.CountCell(sizes[i])
			if hidden[i] {
				cell = table.WithheldCell("withheld")
			}
			t.Add(table.TextCell(one.name), table.TextCell(p.label), cell)
		}
	}
	return t
}

func orUnknown(s string) string {
	if s == "" {
		return "(not known)"
	}
	return s
}

// acquisition counts the acquisition rules where images were there.
func (r *builder) acquisition() table.Table {
	t := table.Table{
		Identifier: "acquisition", Title: "Acquisition", Note: "Rules about how images were recorded, in the studies whose images were given.",
		Columns: []table.Column{
			table.MachineColumn("rule", "Rule", table.Words, "identifier of the acquisition rule"), table.NewColumn("title", "What must hold", table.Words, "title of the rule"), severityColumn(),
			table.NewColumn("met", "Met", table.Share, "studies in which it passed, of those in which it could be told"), table.NewColumn("cannot_tell", "Cannot tell", table.Count, "studies in which it could not be told"),
		},
	}
	by := demandsOf{}
	for res, n := range r.results(func(c class) bool { return c.images }) {
		if res.Rule.Kind == finding.Acquisition {
			by.of(res.Rule).AddTimes(res.Stands(nil), n) // the shares are those without exceptions
		}
	}
	for _, name := range slices.Sorted(maps.Keys(by)) {
		t.Add(table.TextCell(name), table.TextCell(by[name].rule.Title), table.TextCell(by[name].rule.Severity.Word()), table.ShareCell(by[name].Strict()), table.CountCell(by[name].Open))
	}
	return t
}

// suspects counts the measurements that do not fit the others of their study.
func (r *builder) suspects() table.Table {
	t := table.Table{
		Identifier: "suspects", Title: "Suspect measurements", Note: "Measurements that do not fit the redundant others of their study when all are adjusted jointly, in studies.",
		Columns: []table.Column{table.NewColumn("measurand", "Measurement", table.Words, "title of the measurand"), table.NewColumn("studies", "Studies", table.Share, "read studies in which it is a suspect")},
	}
	by, read := map[string]int{}, 0
	for _, s := range r.now {
		if s.Unread {
			continue
		}
		read++
		for _, title := range slices.Compact(slices.Sorted(slices.Values(s.Suspect))) {
			by[title]++
		}
	}
	names := slices.Sorted(maps.Keys(by))
	sort.SliceStable(names, func(i, j int) bool { return by[names[i]] > by[names[j]] })
	for _, name := range names {
		t.Add(table.TextCell(name), table.ProportionCell(by[name], read))
	}
	return t
}
