package rule

import (
	"maps"
	"reflect"
	"slices"

	"echotally/internal/finding"
)

// Likeness is how far two versions of a rule come to the same.
type Likeness int

// Likenesses.
const (
	Unlike          Likeness = iota // a study may come to something else
	AlikeInOutcome                  // every study comes to the same, as grave as either version says
	AlikeInSeverity                 // and as grave
)

// Alike tells how far the rule comes to the same as another version of it did, on the
// same foundation, by what decides in them and not by their words.
func (r *Rule) Alike(o *Rule) Likeness {
	if !reflect.DeepEqual(r.File.deciding(), o.File.deciding()) {
		return Unlike
	}
	if r.Severity == o.Severity {
		return AlikeInSeverity
	}
	// A guessed value is told only of where it contradicts, a form that another series of
	// values fits is never an error, a note that asks for words does not fail where no
	// document holds any, and what is as grave as the rule says in some cases need not be so
	// for that reason.
	light := r.Severity == finding.Information || o.Severity == finding.Information
	inSomeCase := slices.ContainsFunc(r.File.SeverityIf, func(s SeverityWhen) bool { return s.Severity == string(o.Severity) })
	if r.Kind == finding.Consistency || inSomeCase || light && len(r.File.Statements) > 0 {
		return Unlike
	}
	return AlikeInOutcome
}

// deciding is the file without its words and who stands behind them.
func (f File) deciding() File {
	f.Version, f.Title, f.Severity, f.Purpose, f.Usage, f.KnownLimits, f.Message, f.Name = "", "", "", "", "", "", "", ""
	f.RelatedArtifact, f.Sources, f.Origin, f.Obtain, f.Examples = nil, nil, "", nil, nil
	f.DerivedFrom, f.ApprovalDate, f.Reviewer = "", "", ""
	f.Parameters = maps.Clone(f.Parameters)
	for name, p := range f.Parameters {
		own := *p
		own.Origin, own.Documentation = "", ""
		f.Parameters[name] = &own
	}
	return f
}
