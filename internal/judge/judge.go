// Package judge makes the judgement of a study: the one entry to the rules. It
// is pure: no files, no clock, no log, no network.
package judge

import (
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/library"
)

// By says on whose behalf a study is judged.
type By struct {
	SoftwareVersion string
	Objects         []judgement.Object // what the study was read of; may be empty
}

// Study puts the whole library to a study. Several may be judged at a time.
func Study(lib *library.Library, s *echo.Study, by By) *judgement.Judgement {
	out := &judgement.Judgement{
		StudyInstanceUID: s.StudyInstanceUID, SoftwareVersion: by.SoftwareVersion, Read: judgement.Count(s),
		Library: judgement.Library{Version: lib.Version, Digest: lib.Digest, Edition: lib.Edition, Rules: len(lib.Rules)},
	}
	out.Read.Objects = by.Objects
	protocols, results := check.Study(lib, s)
	out.Protocols = protocols
	out.Several = check.SeveralValues(lib, s)
	out.Acquisition = check.Acquired(lib, s)
	out.Reconciliation = check.Reconcile(lib, s)
	check.Blame(results, out.Reconciliation)
	for _, res := range results {
		if res.Outcome == finding.NotApplicable {
			out.NotApplicable = append(out.NotApplicable, judgement.Aside{About: res.About, Rule: res.Rule, Reason: res.Message})
		} else {
			out.Results = append(out.Results, res)
		}
	}
	out.Refer(s)
	return out
}
