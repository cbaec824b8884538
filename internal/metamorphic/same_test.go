package metamorphic

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"echotally/internal/finding"
)

func transformations() []transformation {
	return slices.Concat(layouts(), wordings(), numberings(), samples())
}

// difference is a rule that comes to something else although the study means
// the same, and why that is right, or what is wrong with it.
type difference struct {
	transformation, rule, reason string
	seed                         uint64 // of a study that shows it, for causes
}

// causes stands for any rule of which only the likely causes or the suspect
// change. That is rare, so the seed of a study that shows it stands beside it.
const causes = "causes"

// expected differences are right.
func expected() []difference {
	const notUCUM = "the unit is understood, but no UCUM; the rule is about just that"
	return []difference{
		{"an unknown measurement", "document/every-code-known", "the measurement added is under an unknown code", 0},
		{"modifiers contained", "document/format-kept", "a NUM item contains nothing (PS3.3 table A.35.3-2)", 0},
		{"without a meta header", "document/format-kept", "a file has meta information (PS3.10 7.1)", 0},
		{"heart beats as bpm", "units/unit-written-in-ucum", notUCUM, 0},
		{"mm[Hg] as mmHg", "units/unit-written-in-ucum", notUCUM, 0},
		{"other meanings of unknown codes", "diastolic-function/second-line-signs-when-divided",
			"what stands under a code nobody mapped may be what is asked for, as long as its words do not tell that it is something else", 0},
	}
}

// knownDefects are wrong; the test fails when one of them is gone.
func knownDefects() []difference {
	return nil
}

// TestSayingItOtherwiseChangesNothing puts every transformation, alone and in
// pairs, to the shared studies.
func TestSayingItOtherwiseChangesNothing(t *testing.T) {
	b := newBench(t)
	count, each, pairs := 26, 6, 150
	if *full {
		count, each, pairs = 208, 40, 3000
	}
	bases := b.newBases(t, count)
	all := transformations()
	y := newTally(b)
	next := 0
	for _, tr := range all {
		tried := 0
		for range count {
			next++
			s := bases[next%count].study(uint64(next))
			if !tr.apply(b, s) {
				continue
			}
			list, _ := b.changes(t, s)
			y.add(list, s.base, tr)
			if tried++; tried == each {
				break
			}
		}
	}
	for _, d := range knownDefects() {
		for _, tr := range all {
			if d.rule == causes && tr.name == d.transformation {
				s := b.newBase(t, d.seed).study(1)
				tr.apply(b, s)
				list, _ := b.changes(t, s)
				y.add(list, s.base, tr)
			}
		}
	}
	random := bases[0].study(99).random
	for range pairs {
		first, second := all[random.IntN(len(all))], all[random.IntN(len(all))]
		s := bases[random.IntN(count)].study(random.Uint64())
		if first.name != second.name && first.apply(b, s) && second.apply(b, s) {
			list, _ := b.changes(t, s)
			y.add(list, s.base, first, second)
		}
	}
	y.report(t, all)
}

func (b *bench) newBases(t *testing.T, count int) []*base {
	t.Helper()
	out := make([]*base, count)
	for i := range out {
		out[i] = b.newBase(t, uint64(i))
	}
	return out
}

// together is the row of the table for two transformations.
const together = "two at once"

// tally counts what changed.
type tally struct {
	b          *bench
	applied    map[string]int
	counts     map[string]map[finding.Kind]int // by transformation, or two of them
	seen       map[difference]bool
	unexpected map[string][]string
}

func newTally(b *bench) *tally {
	return &tally{
		b: b, applied: map[string]int{}, counts: map[string]map[finding.Kind]int{}, seen: map[difference]bool{}, unexpected: map[string][]string{},
	}
}

func (y *tally) add(list []change, of *base, by ...transformation) {
	names := make([]string, len(by))
	for i, tr := range by {
		names[i] = tr.name
		y.applied[tr.name]++
	}
	if len(by) > 1 {
		y.applied[together]++
	}
	known := append(expected(), knownDefects()...)
	for _, c := range list {
		explained := false
		for i, tr := range by {
			if r := y.b.rules[c.rule]; tr.aside != nil && (r != nil && tr.aside(r) || c.onlyCauses()) || tr.digits && c.onlyCauses() {
				explained = true
				continue
			}
			for _, d := range known {
				if d.transformation == names[i] && (d.rule == c.rule || d.rule == causes && c.onlyCauses()) {
					y.seen[d], explained = true, true
				}
			}
		}
		if explained {
			continue
		}
		name := together
		if len(by) == 1 {
			name = names[0]
		}
		if y.counts[name] == nil {
			y.counts[name] = map[finding.Kind]int{}
		}
		kind := finding.Consistency
		if r := y.b.rules[c.rule]; r != nil {
			kind = r.Kind
		}
		y.counts[name][kind]++
		key := strings.Join(names, " + ") + ": " + c.String()
		y.unexpected[key] = append(y.unexpected[key], of.String())
	}
}

func (y *tally) report(t *testing.T, all []transformation) {
	t.Helper()
	kinds := []finding.Kind{finding.Completeness, finding.Consistency, finding.Acquisition, finding.Form}
	var table strings.Builder
	fmt.Fprintf(&table, "\n%-45s %7s", "transformation", "studies")
	for _, k := range kinds {
		fmt.Fprintf(&table, " %12s", k)
	}
	for _, tr := range append(all, transformation{name: together}) {
		fmt.Fprintf(&table, "\n%-45s %7d", tr.name, y.applied[tr.name])
		for _, k := range kinds {
			fmt.Fprintf(&table, " %12d", y.counts[tr.name][k])
		}
		if y.applied[tr.name] == 0 && tr.apply != nil {
			t.Errorf("%s was never applied", tr.name)
		}
	}
	t.Logf("changed outcomes that nothing explains, of %d studies judged:%s", y.b.studies, table.String())
	for _, key := range slices.Sorted(maps.Keys(y.unexpected)) {
		t.Errorf("%s (%d studies, the first %s)", key, len(y.unexpected[key]), y.unexpected[key][0])
	}
	for _, d := range expected() {
		if !y.seen[d] {
			t.Errorf("%s no longer changes %s: take it out of the expected differences", d.transformation, d.rule)
		}
	}
	for _, d := range knownDefects() {
		if !y.seen[d] {
			t.Errorf("%s no longer changes %s: the defect is gone, take it out of the known ones", d.transformation, d.rule)
		}
	}
}
