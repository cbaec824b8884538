package audit

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/stats"
)

func sortedNames[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func list(names []string) string { return strings.Join(names, ", ") }

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
func (r *builder) coding() Table {
	t := Table{
		Identifier: "coding", Title: "Coding by scanner and software", Note: "Shares of measurements, which are not independent within a study: no intervals are to be read from them.",
		Columns: []Column{
			column("scanner", "Scanner", Words, "model and software version"), column("studies", "Studies", Count, "read studies of the period"),
			column("measurements", "Measurements", Count, "results in their reports"),
			column("unnamed", "Code unknown, %", Number, "measurements whose code no measurand file names"),
			column("no_view", "View missing, %", Number, "measurements that belong to a view and do not state it"),
			column("wrong_unit", "Unit wrong, %", Number, "unit not understood or of another kind of quantity"),
			column("no_value", "Empty, %", Number, "empty items without a reason"),
		},
	}
	groups := byDevice(r.now, counted.Device.Version)
	for _, name := range sortedNames(groups) {
		var c counted.Coding
		n := 0
		for _, s := range groups[name] {
			if !s.Unread {
				n++
				c = c.Plus(s.Coding)
			}
		}
		per := func(x, of int) Cell {
			if of == 0 {
				return NoCell()
			}
			return NumberCell(100 * float64(x) / float64(of))
		}
		t.Add(TextCell(name), CountCell(n), CountCell(c.Measurements), per(c.Unnamed, c.Measurements), per(c.WantViews-c.Views, c.WantViews),
			per(c.WrongUnit, c.Measurements), per(c.NoValue, c.Measurements))
	}
	return t
}

// softwareChanges compares each scanner before and after its software changed.
func (r *builder) softwareChanges() Table {
	t := Table{
		Identifier: "software-changes", Title: "Changes of scanner software", Note: "One scanner with itself: the studies before a new software version against those since, within the months shown. Differences with Newcombe intervals, all rows together 95 % (Bonferroni); tests are Fisher's exact test and belong to the family of the report.",
		Columns: []Column{
			column("station", "Scanner", Words, "station name and model"), column("change", "Change", Words, "software before and after, date of the first study after"),
			machine("measure", "Identifier", Words, "identifier of the measure"), column("title", "Measure", Words, "the measure in words"), column("before", "Before", Share, "studies met before"),
			column("after", "After", Share, "studies met since"), column("low", "Difference from", Number, "percentage points, lower end of the interval"),
			column("high", "to", Number, "percentage points, upper end of the interval"),
		},
	}
	var all []seen
	stations := byDevice(r.look, func(d counted.Device) string { return d.Station })
	for _, name := range sortedNames(stations) {
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
	together := stats.Simultaneous(Confidence, len(all))
	for _, x := range all {
		software := x.after[0].Device
		_, interval := stats.Difference(x.since, x.was, together)
		t.Add(TextCell(x.station+", "+software.Model), TextCell(x.text), TextCell(x.measure.Identifier), TextCell(x.measure.Title), ShareCell(x.was), ShareCell(x.since), NumberCell(100*interval.Low), NumberCell(100*interval.High))
		now := x.measure.over(within(x.after, r.opt.Period))
		r.test(stats.FisherExact(x.since, x.was), Signal{
			Kind: OfSoftware, Measure: x.measure.Identifier, Where: x.station, From: x.was, To: x.since, Lost: lost(now, x.was),
			Text: fmt.Sprintf("%s on scanner %s: %s before and %s since software %s", x.measure.Title, x.station, Percent(x.was), Percent(x.since), software.Software),
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

func within(studies []*counted.Study, p Period) []*counted.Study {
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
func (r *builder) volumes() Table {
	t := Table{
		Identifier: "volumes", Title: "Volumes", Note: fmt.Sprintf("Studies of the period. The modality is what the reports state, else what the views they name tell; a study with several transducers counts under each. Persons with fewer than %d are withheld, and one more where the rest would tell.", r.opt.SmallCell),
		Columns: []Column{
			column("by", "By", Words, "site, kind of study, modality, transducer, what was received, scanner, sonographer or reader"), column("name", "Name", Words, "which; persons by code"),
			column("studies", "Studies", Count, "studies of the period"),
		},
	}
	plain := func(by string, of func(*counted.Study) string) {
		counts := map[string]int{}
		for _, s := range r.now {
			counts[orUnknown(of(s))]++
		}
		for _, name := range sortedNames(counts) {
			t.Add(TextCell(by), TextCell(name), CountCell(counts[name]))
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
			cell := CountCell(sizes[i])
			if hidden[i] {
				cell = withheld("withheld")
			}
			t.Add(TextCell(one.name), TextCell(p.label), cell)
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
func (r *builder) acquisition() Table {
	t := Table{
		Identifier: "acquisition", Title: "Acquisition", Note: "Rules about how images were recorded, in the studies whose images were given.",
		Columns: []Column{
			machine("rule", "Rule", Words, "identifier of the acquisition rule"), column("title", "What must hold", Words, "title of the rule"), severityColumn(),
			column("met", "Met", Share, "studies in which it passed, of those in which it could be told"), column("cannot_tell", "Cannot tell", Count, "studies in which it could not be told"),
		},
	}
	by := map[string]*demand{}
	for _, s := range r.now {
		for res := range s.Results.All() {
			if res.Rule.Kind != finding.Acquisition || s.Images == 0 {
				continue
			}
			if by[res.Rule.Identifier] == nil {
				by[res.Rule.Identifier] = &demand{rule: res.Rule}
			}
			by[res.Rule.Identifier].Add(s.Stands(res))
		}
	}
	for _, name := range sortedNames(by) {
		t.Add(TextCell(name), TextCell(by[name].rule.Title), TextCell(by[name].rule.Severity.Word()), ShareCell(by[name].Strict()), CountCell(by[name].Open))
	}
	return t
}

// suspects counts the measurements that do not fit the others of their study.
func (r *builder) suspects() Table {
	t := Table{
		Identifier: "suspects", Title: "Suspect measurements", Note: "Measurements that do not fit the redundant others of their study when all are adjusted jointly, in studies.",
		Columns: []Column{column("measurand", "Measurement", Words, "title of the measurand"), column("studies", "Studies", Share, "read studies in which it is a suspect")},
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
	names := sortedNames(by)
	sort.SliceStable(names, func(i, j int) bool { return by[names[i]] > by[names[j]] })
	for _, name := range names {
		t.Add(TextCell(name), proportion(by[name], read))
	}
	return t
}
