// Package judge makes the judgement of a study: the one entry to the rules. It
// reads the study once, puts every rule to it, looks for the slips behind what
// failed and for the measurement that does not fit. It is pure: no files, no
// clock, no log, no network.
package judge

import (
	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/coherence"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/slip"
)

// By says on whose behalf a study is judged.
type By struct {
	SoftwareVersion string
	Objects         []judgement.Object // what the study was read of; may be empty
}

// Judge puts one library to studies. What is the same for every study is
// gathered once. It is safe for concurrent use.
type Judge struct {
	library *library.Library
	ranges  *check.Ranges
	about   map[*rule.Rule]*finding.About
}

// New prepares for judging by a library.
func New(lib *library.Library) *Judge {
	j := &Judge{library: lib, ranges: check.NewRanges(lib.Rules), about: make(map[*rule.Rule]*finding.About, len(lib.Rules))}
	for _, one := range lib.Rules {
		j.about[one] = About(one)
	}
	return j
}

// Study judges a study by a library, when there is but one to judge.
func Study(lib *library.Library, s *echo.Study, by By) *judgement.Judgement {
	return New(lib).Study(s, by)
}

// Study puts the whole library to a study.
func (j *Judge) Study(s *echo.Study, by By) *judgement.Judgement {
	out := &judgement.Judgement{
		StudyInstanceUID: s.StudyInstanceUID, SoftwareVersion: by.SoftwareVersion, Read: judgement.Count(s),
		Library: judgement.Library{Version: j.library.Version, Digest: j.library.Digest, Edition: j.library.Edition, Rules: len(j.library.Rules)},
	}
	out.Read.Objects = by.Objects
	r := answer.Read(j.library, s)
	out.Protocols = check.Protocols(r)
	checker := check.New(r, check.Holding(out.Protocols)...)
	checked := j.put(checker, out)
	slip.Explain(r, j.ranges, checked)
	out.Several = r.Several()
	out.Acquisition = r.Acquired()
	out.Reconciliation = coherence.Reconcile(r, checked, coherence.Knowledge{
		Plausible: func(measurand string) (low, high float64, ok bool) { return j.ranges.Of(r, measurand) },
		Implying:  checker.Implying,
		Slips: func(m *measurand.Measurand, x, low, high float64) []finding.Hypothesis {
			return slip.Into(j.library.Mistakes, m, x, low, high)
		},
	})
	out.Results = make([]finding.Result, 0, len(checked))
	for _, c := range checked {
		out.Results = append(out.Results, c.Result)
	}
	coherence.Blame(out.Results, out.Reconciliation)
	out.Refer(s)
	return out
}

// put puts every rule to the study. Those that do not apply are set aside in the
// judgement, the others are given.
func (j *Judge) put(c *check.Checker, out *judgement.Judgement) []*check.Checked {
	checked := make([]*check.Checked, 0, len(j.library.Rules)/2)
	out.NotApplicable = make([]judgement.Aside, 0, len(j.library.Rules)/2)
	for _, one := range j.library.Rules {
		now, aside := c.Put(one)
		if now == nil {
			out.NotApplicable = append(out.NotApplicable, judgement.Aside{About: j.about[one], Rule: one.File.Identifier, Reason: aside})
			continue
		}
		now.Result.About = j.about[one]
		checked = append(checked, now)
	}
	return checked
}
