package check

import (
	"math"
	"sync"

	"echotally/internal/answer"
	"echotally/internal/rule"
	"echotally/internal/ucum"
)

// Ranges are the ranges that are possible, as rules say, by measurand. They are made once for a library and safe for concurrent
// use.
type Ranges struct {
	gather func() *ranges
}

type ranges struct {
	of      map[string]limits
	aliases map[string]string // by identifier of the rule
}

type limits struct {
	low, high *rule.Parameter
	unit      ucum.Unit
}

// NewRanges are the ranges of the rules, gathered when one is first asked for.
// Where two rules give one, the first counts.
func NewRanges(rules []*rule.Rule) *Ranges {
	return &Ranges{sync.OnceValue(func() *ranges { return rangesOf(rules) })}
}

func rangesOf(rules []*rule.Rule) *ranges {
	out := &ranges{of: map[string]limits{}, aliases: map[string]string{}}
	for _, one := range rules {
		name, low, high, is := one.Bounds()
		if !is {
			continue
		}
		out.aliases[one.File.Identifier] = name
		if one.File.Possible == nil {
			continue // what is usual bounds nothing
		}
		for _, m := range one.Aliases[name].Measurands {
			if _, known := out.of[m.Identifier]; !known {
				out.of[m.Identifier] = limits{one.Parameters[low], one.Parameters[high], one.Aliases[name].Unit}
			}
		}
	}
	return out
}

// Of is the range of a measurand for the subject of a study, in the unit of the
// measurand.
func (x *Ranges) Of(r *answer.Reading, measurand string) (low, high float64, ok bool) {
	l, ok := x.gather().of[measurand]
	if !ok {
		return 0, 0, false
	}
	low, high = r.Limit(l.low, l.unit), r.Limit(l.high, l.unit)
	return low, high, !math.IsNaN(low) && !math.IsNaN(high)
}

// Alias is the alias whose range a rule demands; false when it demands none, or
// more than that.
func (x *Ranges) Alias(one *rule.Rule) (string, bool) {
	name, ok := x.gather().aliases[one.File.Identifier]
	return name, ok
}
