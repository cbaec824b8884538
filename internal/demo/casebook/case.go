// Package casebook owns the invented studies, each with the faults that are seeded into it
// and what must be found of them.
package casebook

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"

	"echotally/internal/dcm"
	"echotally/internal/phantom"
)

// Case is one study of the lab with its truth.
type Case struct {
	Truth   StudyTruth
	Objects []phantom.Object
}

// tagReader is the name of the physician reading the study.
var tagReader = dcm.T(0x00081060)

// plan is one study to be made.
type plan struct {
	profile, dialect string
	faults           []fault
	imaged           bool   // with images
	scored           bool   // with z-scores
	walled           bool   // with scores of the wall's segments
	filed            bool   // the report names its reader and says why the study was wanted
	visit            *visit // of a person who comes more than once; nil for most
}

// plans lists the studies of one round: clean and faulty ones in turn.
func plans() []plan {
	var clean []plan
	writers := phantom.Dialects()
	for i, p := range phantom.Profiles {
		if p.Extent == phantom.Pediatric {
			clean = append(clean, plan{profile: p.Name, dialect: "petrelline"})
			continue
		}
		for offset := range writers {
			clean = append(clean, plan{profile: p.Name, dialect: writers[(i+offset)%len(writers)].Name})
		}
	}
	var faulty []plan
	for _, f := range faults() {
		if f.shots != nil || f.scored {
			continue
		}
		faulty = append(faulty, plan{profile: f.profile, dialect: f.dialect, faults: []fault{f}})
	}
	faulty = append(faulty, pairs()...)
	var mixed []plan
	for i := 0; len(clean)+len(faulty) > 0; i++ {
		if len(faulty) == 0 || i%3 == 0 && len(clean) > 0 {
			mixed, clean = append(mixed, clean[0]), clean[1:]
		} else {
			mixed, faulty = append(mixed, faulty[0]), faulty[1:]
		}
	}
	return slices.Concat(mixed, imagedPlans(), followUps(), scoredPlans(), laterPlans(), wallPlans(), lesionPlans())
}

// scoredPlans are the children's studies with z-scores, last for the same
// reason as those with images.
func scoredPlans() []plan {
	out := []plan{{profile: "child", dialect: "petrelline", scored: true}}
	for _, f := range faults() {
		if f.scored {
			out = append(out, plan{profile: f.profile, dialect: f.dialect, faults: []fault{f}, scored: true})
		}
	}
	return out
}

// laterPlans are studies that came after the others were in use: they stand
// last so that these keep their numbers.
func laterPlans() []plan { return withCounterparts(laterFaults()) }

// withCounterparts makes a study for each fault, and for every second one its
// clean counterpart.
func withCounterparts(faults []fault) []plan {
	var out []plan
	for i, f := range faults {
		out = append(out, plan{profile: f.profile, dialect: f.dialect, faults: []fault{f}, walled: f.walled})
		if i%2 == 1 {
			out = append(out, plan{profile: f.profile, dialect: f.dialect})
		}
	}
	return out
}

// imagedPlans are the studies with images, last so that they change no other.
func imagedPlans() []plan {
	var out []plan
	for _, p := range []string{"healthy-middle", "tricuspid-regurgitation-severe", "atrial-fibrillation"} {
		out = append(out, plan{profile: p, dialect: "petrelline", imaged: true})
	}
	out = append(out, plan{profile: "healthy-older", dialect: "oldbarrow", imaged: true})
	for _, f := range faults() {
		if f.shots != nil {
			out = append(out, plan{profile: f.profile, dialect: f.dialect, faults: []fault{f}, imaged: true})
		}
	}
	return out
}

// pairs are studies with two faults that do not touch each other.
func pairs() []plan {
	both := func(first, second string) plan {
		var chosen []fault
		for _, kind := range []string{first, second} {
			i := slices.IndexFunc(faults(), func(f fault) bool { return f.kind == kind })
			chosen = append(chosen, faults()[i])
		}
		return plan{profile: chosen[0].profile, dialect: chosen[0].dialect, faults: chosen}
	}
	return []plan{
		both("gradient-typed", "fraction-typed"),
		both("tips-not-noted", "ratio-typed"),
		both("pressure-other-atrial", "tapse-missing"),
		both("aortic-gradient-typed", "jet-no-view"),
	}
}

// Options says which lab to make.
type Options struct {
	Studies int // 0: one of each kind
	Seed    uint64
}

// Studies makes the lab in memory.
func Studies(opt Options) []Case {
	round := plans()
	n := opt.Studies
	if n <= 0 {
		n = len(round)
	}
	cases := make([]Case, n)
	for i := range cases {
		cases[i] = newCase(opt.Seed, i, round[i%len(round)])
	}
	return cases
}

// newCase makes one study. Each has a random source of its own, so that it
// does not change when others are added.
func newCase(seed uint64, index int, p plan) Case {
	random := rand.New(rand.NewPCG(seed, uint64(index)))
	profile := phantom.ProfileNamed(p.profile)
	body := random
	if p.visit != nil {
		body = p.visit.random(seed)
	}
	subject := phantom.NewSubject(profile, body)
	heart := phantom.NewCirculation(profile, subject, body)
	for _, f := range p.faults {
		if f.before != nil {
			f.before(&subject)
		}
		if f.heart != nil {
			f.heart(&heart)
		}
	}
	c := phantom.Measure(profile, subject, heart, random)
	if p.scored {
		c.AddScores()
	}
	if p.walled {
		c.ScoreWall()
	}
	for _, f := range p.faults {
		if f.seed != nil {
			f.seed(c)
		}
	}
	return assemble(seed, index, p, c)
}

func assemble(seed uint64, index int, p plan, c *phantom.Record) Case {
	d := phantom.DialectNamed(p.dialect)
	number := fmt.Sprintf("%03d", index+1)
	key := strconv.FormatUint(seed, 10)
	h := phantom.Header{
		Study: phantom.Uid(key, number, "study"), Series: phantom.Uid(key, number, "series"), Instance: phantom.Uid(key, number, "report"),
		Number: index + 1, Day: index, Time: "101500", Completion: "COMPLETE", Patient: number,
	}
	if p.visit != nil {
		p.visit.file(&h, c.Subject.Age)
	}
	for _, f := range p.faults {
		if f.record != nil {
			f.record(&h)
		}
	}
	pictures := p.pictures(c, key, number)
	root := d.Write(d, c)
	if p.filed && !slices.ContainsFunc(p.faults, func(f fault) bool { return f.unasked }) {
		root = root.Asking("Dyspnoea on exertion.")
	}
	result := Case{
		Truth: StudyTruth{
			StudyInstanceUID: h.Study, Folder: "studies/" + number + "-" + p.profile,
			Dialect: d.Name, Profile: p.profile, Clean: len(p.faults) == 0,
		},
		Objects: []phantom.Object{{Name: "report.dcm", Dataset: d.Document(c, h, root), Implicit: d.Implicit}},
	}
	if p.filed {
		result.Objects[0].Dataset.Add(dcm.Strings(tagReader, "Demo^Physician"))
	}
	if len(pictures) > 0 {
		series := phantom.Uid(key, number, "images")
		result.Objects[0].Dataset.Add(phantom.Evidence(h.Study, series, pictures))
		for i := range pictures {
			result.Objects = append(result.Objects, pictures[i].Object(d, c, h, series))
		}
	}
	for _, f := range p.faults {
		truth := FaultTruth{
			Kind: f.kind, Text: f.text, Rules: f.rules, Also: f.also, Outcome: f.outcome, Measurand: f.measurand,
			SOPInstanceUID: h.Instance,
		}
		if f.measurand != "" {
			truth.Item = root.Position(f.measurand)
		}
		result.Truth.Faults = append(result.Truth.Faults, truth)
	}
	for _, f := range p.faults {
		if f.spoil != nil {
			f.spoil(&result, sender{d, c, h, root})
		}
	}
	return result
}

// pictures makes the images of a study that has some, with the faults in them.
func (p plan) pictures(c *phantom.Record, key ...string) []phantom.Picture {
	if !p.imaged {
		return nil
	}
	shots := c.Shots()
	for _, f := range p.faults {
		if f.shots != nil {
			shots = f.shots(shots)
		}
	}
	out := phantom.Imaging(c, shots, key...)
	for _, f := range p.faults {
		if f.unreferenced {
			for _, r := range c.Readings {
				r.Image = nil
			}
		}
	}
	return out
}

// sender makes further objects of a study.
type sender struct {
	dialect phantom.Dialect
	record  *phantom.Record
	header  phantom.Header
	root    phantom.Item
}
