// Package scope owns to which studies a rule applies, as far as two versions of it apply
// to the same.
package scope

import (
	"reflect"

	"echotally/internal/rule"
)

// Same reports whether both versions of a rule, all they rest on being the same, apply to
// the same studies: they differ in parameters by which that is not decided, and in how
// grave they are. Of a demand made of each series it cannot be told, for whether a series
// holds what is compared may turn on anything. It prepares both.
func Same(was, is *rule.Rule) bool {
	file := is.File
	file.Parameters = was.File.Parameters
	if is.File.Each != "" || (&rule.Rule{File: file}).Alike(&rule.Rule{File: was.File}) != rule.AlikeInSeverity {
		return false
	}
	for _, one := range []*rule.Rule{was, is} {
		one.Prepare()
		if one.When == nil {
			continue
		}
		for _, in := range one.When.Inputs {
			if !reflect.DeepEqual(was.File.Parameters[in.Name], is.File.Parameters[in.Name]) {
				return false
			}
		}
	}
	return true
}
