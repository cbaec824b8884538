package labyear

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"strconv"
	"time"

	"echotally/internal/phantom"
)

// The lists of the lab's own systems, as intake and meeting record take them.
const (
	timesList    = "times.csv"
	staffList    = "staff.csv"
	sitesList    = "sites.csv"
	requestsList = "requests.csv"
	testsList    = "tests.csv"
)

// Meetings are the meetings about quality that the lab held in the year: the day of
// each, and the list of who took part beside stories.json.
var Meetings = []struct{ Day, List string }{{"2026-03-11", "meeting-2026-03.csv"}, {"2026-09-16", "meeting-2026-09.csv"}}

// testSpread is how far a catheter and echo differ, relative (invented).
const testSpread = 0.08

// IntakeOfLists is the command that takes in the lists of a year in a folder.
func IntakeOfLists(dir string) string {
	line := "echotally intake"
	for _, l := range [][2]string{{"roster", staffList}, {"labs", sitesList}, {"signoff", timesList}, {"appropriateness", requestsList}, {"correlation", testsList}} {
		line += " --" + l[0] + " " + filepath.Join(dir, l[1])
	}
	return line
}

type lists map[string][][]string

func newLists() lists {
	l := lists{
		timesList: {{"accession", "setting", "ended", "read", "signed"}}, requestsList: {{"accession", "class"}},
		testsList: {{"accession", "measurand", "test", "value", "unit", "date"}},
		staffList: {{"name", "role"}}, sitesList: {{"station", "lab", "site", "timezone"}},
	}
	for _, n := range sonographers {
		l[staffList] = append(l[staffList], []string{n, "sonographer"})
	}
	for _, n := range physicians {
		l[staffList] = append(l[staffList], []string{n, "reader"})
	}
	for _, m := range scanners {
		l[sitesList] = append(l[sitesList], []string{m.station, "Harbourlight", m.site, "UTC"})
	}
	// At the first meeting all are present but one sonographer, who read the minutes;
	// at the second the physicians are absent.
	for i, m := range Meetings {
		rows := [][]string{{"name", "took part"}}
		for k, n := range sonographers {
			rows = append(rows, []string{n, part(i == 0 && k == 0, "read", "present")})
		}
		for _, n := range physicians {
			rows = append(rows, []string{n, part(i == 0, "present", "absent")})
		}
		l[m.List] = rows
	}
	return l
}

func part(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

// add writes what the lab knows of a study: its times, how the request was judged,
// and what a catheter found in severe aortic stenosis. It is drawn apart from
// everything else, so that the year is the same with and without it.
func (l lists) add(seed uint64, s *Study) {
	random := rand.New(rand.NewPCG(seed, 3<<32+uint64(len(l[timesList]))))
	class := "appropriate"
	switch x := random.Float64(); {
	case x > 0.95:
		class = "rarely-appropriate"
	case x > 0.83:
		class = "may-be-appropriate"
	}
	l[timesList] = append(l[timesList], []string{s.Accession, s.Setting, stamp(s.Ended), stamp(s.Read), stamp(s.Signed)})
	l[requestsList] = append(l[requestsList], []string{s.Accession, class})
	if !hasGradient(s) {
		return
	}
	value := math.Round(s.Record.Value(phantom.AorticMeanG) * (1 + testSpread*random.NormFloat64()))
	l[testsList] = append(l[testsList], []string{s.Accession, phantom.AorticMeanG, "catheter", strconv.FormatFloat(value, 'f', 0, 64), "mm[Hg]", s.Ended.AddDate(0, 0, 1+random.IntN(14)).Format(time.DateOnly)})
}

// hasGradient reports whether a catheter went after the study.
func hasGradient(s *Study) bool {
	return s.Record.Profile.Name == "aortic-stenosis" && s.Record.Has(phantom.AorticMeanG)
}
