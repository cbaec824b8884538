package judge

import (
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// About is what a rule says of itself.
func About(one *rule.Rule) *finding.About {
	return &finding.About{
		Identifier: one.File.Identifier, Version: one.File.Version, Title: one.File.Title, Kind: one.Kind, Structure: one.Structure,
		Severity: one.Severity, Usage: one.File.Usage, Source: citation(one), Measurands: one.MeasurandNames(), Obtain: one.Obtain(), Between: one.AboutPrior,
		PerLab: one.File.PerLab, OpenPerLab: one.File.OpenPerLab,
	}
}

// citation is the first artifact of the rule in short.
func citation(one *rule.Rule) string {
	if len(one.File.RelatedArtifact) == 0 {
		return ""
	}
	first := one.File.RelatedArtifact[0]
	if first.Locator == "" {
		return first.Label
	}
	return first.Label + ", " + first.Locator
}
