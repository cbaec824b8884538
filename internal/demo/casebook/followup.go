package casebook

import (
	"fmt"
	"math/rand/v2"
	"strconv"

	"echotally/internal/phantom"
)

// visit is one of the studies of a person who comes more than once: all plans of
// a person have the body and the heart of the same draw.
type visit struct {
	person int // from 1
	order  int // 0 for the first
}

// visitGap is how many days lie between two visits of a person.
const visitGap = 120

// birthDay is the birthday of all who come again: before the laboratory opened
// for the year, so that the age is that of the year.
const birthDay = "0115"

func (v visit) file(h *phantom.Header, age float64) {
	h.Patient = fmt.Sprintf("AGAIN-%d", v.person)
	h.Birth = strconv.Itoa(phantom.Opening.Year()-int(age)) + birthDay
	h.Day += v.order * visitGap
}

// random is the source of what stays the same from visit to visit.
func (v visit) random(seed uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, 1<<33+uint64(v.person)))
}

// followUps are patients who come twice, last so that they change no other: one
// pair is clean, in the others something happened between the two studies.
func followUps() []plan {
	var out []plan
	pair := func(profile, dialect string, second ...fault) {
		first := visit{person: len(out)/2 + 1}
		again := visit{person: first.person, order: 1}
		out = append(out, plan{profile: profile, dialect: dialect, visit: &first}, plan{profile: profile, dialect: dialect, visit: &again, faults: second})
	}
	pair("healthy-middle", "petrelline")
	pair("healthy-older", "oldbarrow", diameterSinceBefore(), heightSinceBefore())
	pair("healthy-middle", "gullmere", otherPerson())
	pair("healthy-older", "petrelline", jetCalledUnchanged())
	return out
}

// The faults below are seeded into the second of two studies; only the first one
// shows them.

func diameterSinceBefore() fault {
	return fault{
		kind: "diameter-since-before", text: "The outflow diameter is 2.6 mm wider than in the study four months before.",
		outcome: "fail", measurand: "lvot-diameter",
		rules: []string{"left-ventricular-outflow-tract/diameter-as-before"},
		heart: func(c *phantom.Circulation) {
			c.OutflowDiameter += 0.26
			c.OutflowIntegral = c.Stroke / phantom.CircleArea(c.OutflowDiameter)
		},
	}
}

func heightSinceBefore() fault {
	return fault{
		kind: "height-since-before", text: "The height was typed with another digit than four months before.",
		outcome: "fail", measurand: "body-height",
		rules:  []string{"patient/height-as-before"},
		before: func(s *phantom.Subject) { s.Height += 10; s.BodySurface = phantom.DuBois(s.Height, s.Weight) },
	}
}

func jetCalledUnchanged() fault {
	return fault{
		kind: "jet-called-unchanged", text: "The tricuspid jet is faster than four months before, and the report calls the findings unchanged.",
		outcome: "fail", measurand: phantom.JetVelocity,
		rules: []string{"tricuspid-valve/unchanged-word-fits-velocity"},
		heart: func(c *phantom.Circulation) { c.Jet *= 1.16 },
		seed: func(c *phantom.Record) {
			c.Remarks = append(c.Remarks, phantom.Remark{Topic: "comparison", Text: "Findings unchanged since the previous study."})
		},
	}
}

func otherPerson() fault {
	return fault{
		kind: "other-person", text: "The patient ID was given to another person in the meantime.",
		outcome: "fail",
		rules:   []string{"patient/same-person-as-before"},
		also:    []string{"patient/age-of-birth-date"}, // the age is still that of the first
		record:  func(h *phantom.Header) { h.Birth = "19610322" },
	}
}
