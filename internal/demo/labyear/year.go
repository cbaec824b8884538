// Package labyear owns the invented year of the lab: its studies month by month, the lists
// that come with them, and the stories that figures over the year must show.
package labyear

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"echotally/internal/demo"
	"echotally/internal/phantom"
)

// Options says which year of the lab to make.
type Options struct {
	Seed     uint64
	PerMonth int // studies; 0: 250
}

// Study is one study of the year with what the lab's own systems know.
type Study struct {
	StudyInstanceUID, Accession string
	Folder                      string
	Object                      phantom.Object  // the report that counts
	First                       *phantom.Object // the reading it replaces, by another physician; nil for most
	Sonographer, Reader         string          // as the report names them
	Setting                     string
	Ended, Read, Signed         time.Time
	Record                      *phantom.Record // what was measured
	Forgotten                   []string        // measurands that were measured nowhere without a reason
	Slipped                     bool            // a value was mistyped
}

// forget leaves measurands out of the study that it would hold.
func (s *Study) forget(measurands ...string) {
	for _, m := range measurands {
		if s.Record.Has(m) {
			s.Forgotten = append(s.Forgotten, m)
		}
	}
	s.Record.Remove(measurands...)
}

// Reports are the objects of the study, the one that counts first.
func (s Study) Reports() []phantom.Object {
	if s.First == nil {
		return []phantom.Object{s.Object}
	}
	return []phantom.Object{s.Object, *s.First}
}

// firstMonth opens the year; it ends with October 2026.
var firstMonth = time.Date(2025, time.November, 1, 0, 0, 0, 0, time.UTC)

const yearMonths = 12

// scanner is a machine of the lab.
type scanner struct {
	station, dialect, software string
	site                       string
}

var scanners = []scanner{
	{"ROOM-1", "oldbarrow", "4.2.1", "Quayside"}, {"ROOM-2", "petrelline", "9.1.0", "Quayside"}, {"ROOM-3", "petrelline", "9.1.0", "Lanternhill"},
}

var (
	sonographers = []string{"Marrow^Ines", "Tallow^Per", "Quillon^Oda", "Varrick^Sten", "Ostler^Mina", "Brack^Eli"}
	physicians   = []string{"Hallam^Rune", "Ferrow^Lise", "Stroud^Ana", "Wick^Tomas", "Carse^Ilse"}
)

// yearProfiles are the patients of an ordinary day; the healthy are most.
var yearProfiles = []string{
	"healthy-young", "healthy-middle", "healthy-older", "healthy-middle", "healthy-older", "tricuspid-regurgitation-moderate",
	"mitral-regurgitation", "atrial-fibrillation", "aortic-stenosis", "pulmonary-hypertension", "no-tricuspid-jet", "poor-windows", "limited",
}

// Studies calls each with every study of the year, month by month.
func Studies(opt Options, each func(Study) error) error {
	perMonth := opt.PerMonth
	if perMonth <= 0 {
		perMonth = 250
	}
	for month := range yearMonths {
		days := workdays(firstMonth.AddDate(0, month, 0))
		for i := range perMonth {
			index := month*perMonth + i
			if err := each(yearStudy(opt.Seed, index, month, days[i*len(days)/perMonth])); err != nil {
				return err
			}
		}
	}
	return nil
}

func workdays(first time.Time) []time.Time {
	var out []time.Time
	for d := first; d.Month() == first.Month(); d = d.AddDate(0, 0, 1) {
		if d.Weekday() != time.Saturday && d.Weekday() != time.Sunday {
			out = append(out, d)
		}
	}
	return out
}

// yearStudy makes one study: who and where are drawn independently of what the
// patient has, so that only the stories tie them together.
func yearStudy(seed uint64, index, month int, on time.Time) Study {
	random := rand.New(rand.NewPCG(seed, 1<<32+uint64(index)))
	p := phantom.ProfileNamed(yearProfiles[random.IntN(len(yearProfiles))])
	machine := scanners[random.IntN(len(scanners))]
	out := Study{
		Sonographer: sonographers[random.IntN(len(sonographers))], Reader: physicians[random.IntN(len(physicians))], Setting: "outpatient",
		Accession: fmt.Sprintf("DEMO-Y%05d", index+1),
	}
	if random.Float64() < 0.3 {
		out.Setting = "inpatient"
	}
	subject := phantom.NewSubject(p, random)
	c := phantom.Measure(p, subject, phantom.NewCirculation(p, subject, random), random)
	c.Sonographer, out.Record = out.Sonographer, c
	everydayGaps(&out, random)
	s := setting{month: month, on: on, machine: &machine, study: &out, record: c, random: random}
	s.times()
	for _, story := range yearStories() {
		if story.apply != nil {
			story.apply(&s)
		}
	}
	s.assemble(seed, index)
	return out
}

// everydayGaps leave out or mistype what any lab leaves out or mistypes now and
// then.
func everydayGaps(s *Study, random *rand.Rand) {
	c := s.Record
	if c.Profile.Extent != phantom.Comprehensive {
		return
	}
	for _, gap := range []struct {
		chance     float64
		measurands []string
	}{
		{0.02, []string{"right-ventricular-basal-diameter"}},
		{0.02, []string{"tricuspid-annular-velocity-s-prime"}},
		{0.03, []string{"pulmonary-valve-peak-velocity", "pulmonary-valve-peak-gradient"}},
	} {
		if random.Float64() < gap.chance {
			s.forget(gap.measurands...)
		}
	}
	if random.Float64() < 0.03 && c.Has("left-ventricular-ejection-fraction-biplane") {
		r := c.One("left-ventricular-ejection-fraction-biplane")
		r.Set(r.Value() - 20)
		s.Slipped = true
	}
}

// setting is a study of the year being made.
type setting struct {
	month   int
	on      time.Time
	machine *scanner
	study   *Study
	record  *phantom.Record
	random  *rand.Rand
}

// times draws when the study ended, was read and signed: nearly always within
// the standard.
func (s *setting) times() {
	s.study.Ended = s.on.Add(time.Duration(9*60+s.random.IntN(7*60)) * time.Minute)
	wait := 1 + 5*s.random.Float64()
	if s.random.Float64() < 0.03 {
		wait = 97 + 24*s.random.Float64() // past any weekend
	}
	s.study.Read = s.study.Ended.Add(hours(wait))
	sign := 1 + 30*s.random.Float64()
	if s.random.Float64() < 0.04 {
		sign = 55 + 40*s.random.Float64()
	}
	s.study.Signed = s.study.Read.Add(hours(sign))
}

func hours(n float64) time.Duration {
	return time.Duration(n * float64(time.Hour)).Round(time.Minute)
}

func (s *setting) assemble(seed uint64, index int) {
	d := phantom.DialectNamed(s.machine.dialect)
	d.Software = s.machine.software
	key, number := strconv.FormatUint(seed, 10), fmt.Sprintf("%05d", index+1)
	h := phantom.Header{
		Study: phantom.Uid(key, "year", number, "study"), Series: phantom.Uid(key, "year", number, "series"), Instance: phantom.Uid(key, "year", number, "report"),
		Number: index + 1, Day: int(math.Round(s.on.Sub(phantom.Opening).Hours() / 24)), Time: s.study.Ended.Format("150405"), Completion: "COMPLETE",
	}
	if s.study.First = s.reread(d, h, seed, index); s.study.First != nil {
		h.Predecessor = phantom.Uid(h.Instance, "first")
	}
	dataset := d.Document(s.record, h, d.Write(d, s.record))
	s.identify(&dataset, s.study.Reader)
	s.study.StudyInstanceUID = h.Study
	s.study.Folder = fmt.Sprintf("studies/%s/%s", s.on.Format("2006-01"), number)
	s.study.Object = phantom.Object{Name: "report.dcm", Dataset: dataset, Implicit: d.Implicit}
}

// Write makes the year in the folder, which must be empty or not exist yet:
// the reports, the tables the lab's own systems would give, and stories.json,
// which says what an audit must find and what an accreditation would see.
func Write(dir string, opt Options) (demo.Summary, error) {
	if err := demo.MakeEmpty(dir); err != nil {
		return demo.Summary{}, err
	}
	var sum demo.Summary
	lists := newLists()
	var shown tally
	err := Studies(opt, func(s Study) error {
		sum.Studies++
		lists.add(opt.Seed, &s)
		shown.add(&s)
		for _, o := range s.Reports() {
			b, err := o.Bytes()
			if err != nil {
				return err
			}
			sum.Files++
			if err := demo.WriteFile(filepath.Join(dir, filepath.FromSlash(s.Folder), o.Name), b); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return demo.Summary{}, err
	}
	for name, rows := range lists {
		if err := writeTable(filepath.Join(dir, name), rows); err != nil {
			return demo.Summary{}, err
		}
	}
	sum.Faults = len(yearStories())
	return sum, writeStories(filepath.Join(dir, "stories.json"), shown.requirements())
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }

func writeTable(path string, rows [][]string) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("write demo lab: %w", err)
	}
	defer f.Close()
	return writeRows(f, rows)
}

func writeRows(w io.Writer, rows [][]string) error {
	out := csv.NewWriter(w)
	if err := out.WriteAll(rows); err != nil {
		return fmt.Errorf("write demo lab: %w", err)
	}
	return nil
}

func writeStories(path string, requirements []RequirementTruth) error {
	b, err := json.MarshalIndent(struct {
		SchemaVersion int                `json:"schemaVersion"`
		Lab           string             `json:"lab"`
		Stories       []Story            `json:"stories"`
		Requirements  []RequirementTruth `json:"requirements"`
	}{1, phantom.Lab, Stories(), requirements}, "", "  ")
	if err != nil {
		return fmt.Errorf("encode the demo lab's stories: %w", err)
	}
	return demo.WriteFile(path, append(b, '\n'))
}
