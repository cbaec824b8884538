package casebook

import (
	"slices"

	"echotally/internal/dcm"
	"echotally/internal/phantom"
)

func leftLesionFaults() []fault {
	return slices.Concat(mismatchFaults(), repairFaults(), triggerFaults(), aorticFaults(), formFaults())
}

// mismatchFaults are about an aortic prosthesis too small for the body: the
// numbers of a narrow valve under the words of a prosthesis.
func mismatchFaults() []fault {
	prosthesis := func(words string) func(*phantom.Record) {
		return func(c *phantom.Record) {
			c.Reword("aortic", "Biological aortic valve prosthesis, size 21. No paravalvular leak. "+words)
			c.Reword("summary", "")
		}
	}
	return []fault{
		{
			kind: "mismatch-unnamed", text: "A prosthesis much too small for the body, and no word on it.",
			profile: "aortic-stenosis", dialect: "petrelline", outcome: "fail",
			rules: []string{"prosthesis/mismatch-spoken-of"},
			seed:  prosthesis(""),
		},
		{
			kind: "mismatch-denied", text: "Mismatch is denied beside a very small area for the body.",
			profile: "aortic-stenosis", dialect: "petrelline", outcome: "fail",
			rules: []string{"prosthesis/mismatch-word-fits-area"},
			seed:  prosthesis("No patient-prosthesis mismatch."),
		},
	}
}

// repairFaults are about repaired valves.
func repairFaults() []fault {
	return []fault{
		{
			kind: "mitral-repair-unmeasured", text: "A repaired mitral valve without gradient and without a word on its leak.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail",
			rules: []string{"prosthesis/mitral-repair-gradient-with-rate-present", "prosthesis/mitral-repair-leak-graded"},
			seed:  func(c *phantom.Record) { c.Reword("mitral", "Mitral valve repair with annuloplasty ring.") },
		},
		{
			kind: "tricuspid-repair-unmeasured", text: "A repaired tricuspid valve without gradient and without a word on its leak.",
			profile: "healthy-middle", dialect: "gullmere", outcome: "fail",
			rules: []string{"prosthesis/tricuspid-repair-gradient-with-rate-present", "prosthesis/tricuspid-repair-leak-graded"},
			seed: func(c *phantom.Record) {
				c.Remove("tricuspid-valve-mean-gradient")
				c.Reword("tricuspid", "Tricuspid valve repair with annuloplasty ring.")
			},
		},
		{
			kind: "clip-half-time", text: "Mitral area by half-time after edge-to-edge repair.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail", measurand: "mitral-valve-area-pressure-half-time",
			rules: []string{"prosthesis/edge-to-edge-area-not-by-half-time"},
			also:  []string{"mitral-valve/half-time-area-has-half-time"},
			seed: func(c *phantom.Record) {
				phantom.Taker{Record: c}.Take("mitral-valve-area-pressure-half-time", 2.6)
				c.Reword("mitral", "Two clips on the mitral valve. Mild mitral regurgitation.")
			},
		},
	}
}

// triggerFaults are numbers that ask for a protocol which no word names.
func triggerFaults() []fault {
	return []fault{
		{
			kind: "fraction-alone", text: "A mitral regurgitant fraction of 42 % and nothing else of the leak.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail",
			rules: []string{"mitral-valve/regurgitation-jet-recorded"},
			seed:  func(c *phantom.Record) { phantom.Taker{Record: c}.Take("mitral-regurgitation-fraction", 42) },
		},
		{
			kind: "velocity-index-alone", text: "A velocity index of severe stenosis, and neither gradient nor area.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "fail",
			rules: []string{"aortic-valve/stenosis-mean-gradient-present"},
			also:  []string{"aortic-valve/velocity-index-from-parts", "aortic-valve/stenosis-area-present"},
			seed: func(c *phantom.Record) {
				c.Remove("aortic-valve-velocity-time-integral", "aortic-valve-area-continuity", "aortic-valve-area-index", "aortic-valve-mean-gradient")
				phantom.Taker{Record: c}.Take("aortic-valve-velocity-index", 0.21)
				c.Reword("aortic", "Aortic valve seen.")
			},
		},
	}
}

// aorticFaults are about cusps and what cannot wait.
func aorticFaults() []fault {
	return []fault{
		{
			kind: "cusps-not-counted", text: "Severe aortic stenosis, and the cusps are not counted.",
			profile: "aortic-stenosis", dialect: "gullmere", outcome: "fail",
			rules: []string{"aortic-valve/cusps-counted"},
			seed: func(c *phantom.Record) {
				c.Reword("aortic", "Severe aortic stenosis. Aortic valve calcified with restricted opening.")
			},
		},
		said("dissection-not-communicated", "A dissection of the aorta, and nobody was told.", "healthy-older", "oldbarrow",
			"aorta", "Aortic dissection, type A.", "document/critical-finding-communicated"),
	}
}

// formFaults are about what a report says of itself, and about segments nobody
// saw.
func formFaults() []fault {
	without := func(tag dcm.Tag) func(*Case, sender) {
		return func(c *Case, _ sender) { c.Objects[0].Dataset.Remove(tag) }
	}
	return []fault{
		{
			kind: "segments-unseen", text: "Two neighbouring segments were not seen, and no enhancing agent was given.",
			profile: "healthy-older", dialect: "petrelline", walled: true, outcome: "fail",
			rules: []string{"left-ventricle/contrast-when-segments-unseen"},
			seed:  func(c *phantom.Record) { c.Wall.Moves[12], c.Wall.Moves[15] = phantom.NotSeen, phantom.NotSeen },
		},
		{
			kind: "reader-not-named", text: "Nobody is named as having read the study.",
			profile: "healthy-young", dialect: "petrelline", outcome: "fail",
			rules: []string{"document/reader-named"},
			spoil: without(tagReader),
		},
		{
			kind: "indication-left-out", text: "The report does not say why the study was wanted.",
			profile: "healthy-middle", dialect: "oldbarrow", unasked: true, outcome: "fail",
			rules: []string{"document/indication-recorded"},
		},
		{
			kind: "software-not-named", text: "Strain without the version of the software.",
			profile: "healthy-older", dialect: "petrelline", outcome: "fail",
			rules: []string{"document/strain-software-named"},
			spoil: without(dcm.T(0x00181020)),
		},
	}
}

// laterVisits are people who come a second time with an aorta or a prosthesis
// that is not what it was.
func laterVisits() []plan {
	var out []plan
	pair := func(person int, profile, dialect string, second fault) {
		first, again := visit{person: person}, visit{person: person, order: 1}
		out = append(out, plan{profile: profile, dialect: dialect, visit: &first}, plan{profile: profile, dialect: dialect, visit: &again, faults: []fault{second}})
	}
	pair(11, "healthy-older", "petrelline", fault{
		kind: "aorta-since-before", text: "Root and ascending aorta are 5 mm wider than four months before, and the report does not speak of it.",
		outcome: "fail", measurand: "aortic-root-diameter",
		rules: []string{"aorta/root-as-before"},
		also:  []string{"aorta/ascending-as-before"},
		seed: func(c *phantom.Record) {
			for _, m := range []string{"aortic-root-diameter", "ascending-aorta-diameter"} {
				c.One(m).Set(c.Value(m) + 0.5)
			}
		},
	})
	pair(12, "healthy-middle", "oldbarrow", fault{
		kind: "prosthesis-since-before", text: "A prosthesis with a steeper gradient and a smaller area than four months before is not spoken of.",
		outcome: "fail", measurand: "aortic-valve-mean-gradient",
		rules: []string{"prosthesis/aortic-deterioration-spoken-of"},
		seed: func(c *phantom.Record) {
			c.Reword("aortic", "Biological aortic valve prosthesis, size 23. No paravalvular leak.")
			c.Put(phantom.AorticV, 3.3)
			c.Put(phantom.AorticVTI, 64)
			c.Put(phantom.AorticMeanG, 25)
			c.Follow(phantom.AorticV, phantom.AorticVTI)
		},
	})
	return out
}
