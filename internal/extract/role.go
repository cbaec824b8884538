package extract

import (
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
)

// Bounds of a normal range: PS3.16 CID 223, and the lower limit's earlier code.
var limits = []coding.Key{key("SCT", "371933006"), key("SCT", "385524004"), key("SCT", "386124003")}

// What is said about a value among others: PS3.16 CID 221 and 225.
var statistics = []coding.Key{
	key("SCT", "371889001"), key("SCT", "371887004"), key("SCT", "371917008"), key("SCT", "371920000"),
	key("SCT", "373098007"), key("SCT", "373099004"), key("SCT", "371890005"), key("SCT", "371888009"),
	key("SCT", "371919006"), key("SCT", "371918003"), key("DCM", "121414"), key("DCM", "121417"),
	key("DCM", "130614"), key("DCM", "130615"), key("DCM", "121415"), key("DCM", "121416"),
	key("SCT", "371884006"), key("SCT", "371886008"), key("SCT", "371885007"),
}

// role tells what a NUM item is for.
func (s *scope) role(item *sr.ContentItem) echo.Role {
	switch {
	case s.measurement == nil && s.earlier:
		return echo.Earlier
	case s.measurement == nil:
		return echo.Result
	}
	switch name := item.Name; {
	case slices.Contains(limits, name):
		return echo.Limit
	case slices.Contains(statistics, name):
		return echo.Statistic
	case s.inferred:
		return echo.Input
	}
	return echo.NestedResult
}
