package audit

import (
	"cmp"
	"maps"
	"slices"

	"echotally/internal/counted"
	"echotally/internal/table"
)

// NotRecorded is the name of what no report and no image header tells.
const NotRecorded = "(not recorded)"

// received names what came of the study.
func received(s *counted.Study) string {
	switch {
	case s.Unread && s.Images > 0:
		return "images, no readable report"
	case s.Unread:
		return "no readable report"
	case s.Images > 0:
		return "report and images"
	}
	return "report only"
}

// mediumVolumes are the rows of the volumes by modality, transducer and what was
// received. A study with several transducers counts under each.
func (r *builder) mediumVolumes(t *table.Table) {
	modality, transducer, came := map[string]int{}, map[string]int{}, map[string]int{}
	for _, s := range r.now {
		modality[cmp.Or(s.Medium.Modality, NotRecorded)]++
		came[received(s)]++
		for _, kind := range s.Medium.Transducers {
			transducer[kind]++
		}
		if len(s.Medium.Transducers) == 0 {
			transducer[NotRecorded]++
		}
	}
	for _, one := range []struct {
		by     string
		counts map[string]int
	}{{"modality", modality}, {"transducer", transducer}, {"received", came}} {
		for _, name := range slices.Sorted(maps.Keys(one.counts)) {
			t.Add(table.TextCell(one.by), table.TextCell(name), table.CountCell(one.counts[name]))
		}
		if _, told := one.counts[NotRecorded]; !told && one.by != "received" {
			t.Add(table.TextCell(one.by), table.TextCell(NotRecorded), table.CountCell(0))
		}
	}
}
