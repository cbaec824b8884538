package metamorphic

import (
	"math/big"
	"slices"
	"strings"

	"echotally/internal/rule"
)

// samples are transformations of how many single values stand for a quantity.
// Rules about beats, means and views may change by them.
func samples() []transformation {
	return []transformation{
		{name: "beats without their mean", apply: beatsOnly, aside: aboutSamples},
		{name: "the mean without its beats", apply: meanOnly, aside: aboutSamples},
		{name: "the mean before its beats", apply: meanFirst},
		{name: "two-dimensional values again in M-mode", apply: inMMode, aside: aboutSamples},
		{name: "beats in groups of their own", apply: beatsApart},
		{name: "beats in the opposite order", apply: beatsReversed, aside: aboutSamples},
		{name: "single values as means of beats", apply: beatsAround, aside: aboutSamples},
	}
}

// aboutSamples: the rule asks for single values, their number, their mean or views, or
// whether two numbers are equal to the last digit, which no mean we compute tells.
func aboutSamples(r *rule.Rule) bool {
	text := r.File.Require + r.File.AppliesTo.When
	return r.Structure == "repeats" || r.File.Each == "series" || slices.ContainsFunc(
		[]string{" != ", "beats(", "count(", "views(", "windows(", "noted(", "highest(", "lowest(", "average(", "last(", "spread(", "recorded_mean(", "repeatability(", "spread_limit("},
		func(question string) bool { return strings.Contains(text, question) })
}

func (n *node) isMean() bool {
	d := n.modifier(derivation)
	return d != nil && d.coded.is("SCT", "373098007")
}

// series are the values of one identity in one container, with their mean; only
// those that have both.
func (n *node) series() [][]*node {
	var order []string
	groups := map[string][]*node{}
	for _, c := range n.children {
		if c.isNumber() && c.measurand != "" {
			id := c.identity()
			if groups[id] == nil {
				order = append(order, id)
			}
			groups[id] = append(groups[id], c)
		}
	}
	var out [][]*node
	for _, id := range order {
		if g := groups[id]; len(g) > 2 && slices.ContainsFunc(g, (*node).isMean) {
			out = append(out, g)
		}
	}
	return out
}

func (s *study) eachSeries(change func(container *node, values []*node)) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			for _, g := range c.series() {
				change(c, g)
				done = true
			}
		}
	}
	return done
}

func beatsOnly(_ *bench, s *study) bool {
	return s.eachSeries(func(c *node, g []*node) {
		c.children = slices.DeleteFunc(c.children, func(n *node) bool { return slices.Contains(g, n) && n.isMean() })
	})
}

func meanOnly(_ *bench, s *study) bool {
	return s.eachSeries(func(c *node, g []*node) {
		c.children = slices.DeleteFunc(c.children, func(n *node) bool { return slices.Contains(g, n) && !n.isMean() })
	})
}

func meanFirst(_ *bench, s *study) bool {
	return s.eachSeries(func(c *node, g []*node) {
		i := slices.Index(c.children, g[0])
		j := slices.IndexFunc(c.children, func(n *node) bool { return slices.Contains(g, n) && n.isMean() })
		if j < i {
			return
		}
		mean := c.children[j]
		c.children = slices.Insert(slices.Delete(c.children, j, j+1), i, mean)
	})
}

// beatsApart moves each series with its mean into a further group.
func beatsApart(_ *bench, s *study) bool {
	return s.eachSeries(func(c *node, g []*node) {
		c.children = slices.DeleteFunc(c.children, func(n *node) bool { return slices.Contains(g, n) })
		c.children = append(c.children, measurementGroup(g...))
	})
}

// inMMode adds to single two-dimensional diameters the same number in M-mode.
func inMMode(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			for _, n := range slices.Clone(c.children) {
				mode := n.modifier(imageMode)
				if !n.isNumber() || s.base.counts[n.measurand] != 1 || n.measurand == "" || !strings.Contains(n.measurand, "diameter") ||
					mode == nil || !mode.coded.is("SCT", "399064001") {
					continue
				}
				again := n.clone()
				again.modifier(imageMode).coded = concept{value: "399155008", scheme: "SCT", meaning: "M mode"}
				c.children, done = append(c.children, again), true
			}
		}
	}
	return done
}

func beatsReversed(_ *bench, s *study) bool {
	return s.eachSeries(func(c *node, g []*node) {
		var at []int
		for i, n := range c.children {
			if slices.Contains(g, n) {
				at = append(at, i)
			}
		}
		for i, j := 0, len(at)-1; i < j; i, j = i+1, j-1 {
			c.children[at[i]], c.children[at[j]] = c.children[at[j]], c.children[at[i]]
		}
	})
}

// beatsAround makes of a value that stands alone in its view the mean of three
// beats, which lie two units of the last digit apart.
func beatsAround(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			if patient(c) {
				continue
			}
			alone := map[string]int{}
			for _, n := range c.children {
				alone[n.identity()]++
			}
			var out []*node
			for _, n := range c.children {
				low, high, ok := beside(n.number)
				if !n.isNumber() || n.measurand == "" || alone[n.identity()] != 1 || n.modifier(derivation) != nil || !ok ||
					strings.HasSuffix(n.measurand, "-pisa-velocity") { // a setting, often at the very limit
					out = append(out, n)
					continue
				}
				for _, number := range []string{low, n.number, high} {
					beat := n.clone()
					beat.number = number
					beat.children = slices.DeleteFunc(beat.children, func(m *node) bool { return m.named(selection) || m.isNumber() })
					out = append(out, beat)
				}
				n.children = slices.DeleteFunc(n.children, func(m *node) bool { return m.named(selection) })
				n.children = append(n.children,
					newModifier("HAS CONCEPT MOD", derivation, "Derivation", concept{value: "373098007", scheme: "SCT", meaning: "Mean"}))
				out, done = append(out, n), true
			}
			c.children = out
		}
	}
	return done
}

// beside are the numbers two units of the last digit below and above.
func beside(number string) (low, high string, ok bool) {
	r, ok := new(big.Rat).SetString(number)
	if !ok || strings.ContainsAny(number, "eE") {
		return "", "", false
	}
	decimals := 0
	if _, after, found := strings.Cut(number, "."); found {
		decimals = len(after)
	}
	step := new(big.Rat).SetFrac(big.NewInt(2), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil))
	low, high = new(big.Rat).Sub(r, step).FloatString(decimals), new(big.Rat).Add(r, step).FloatString(decimals)
	return low, high, len(low) <= 16 && len(high) <= 16
}
