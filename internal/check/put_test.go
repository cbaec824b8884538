package check_test

import (
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/library"
)

// put puts a library to a study.
func put(set *library.Library, s *echo.Study) (finding.Protocols, []finding.Result) {
	j := judge.Study(set, s, judge.By{})
	return j.Protocols, j.All()
}
