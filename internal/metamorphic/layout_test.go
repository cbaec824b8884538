package metamorphic

import (
	"slices"
	"strconv"

	"echotally/internal/dcm"
	"echotally/internal/rule"
)

// transformation keeps what a study says and changes how it is said. It reports
// whether there was anything to change.
type transformation struct {
	name  string
	apply func(b *bench, s *study) bool
	aside func(*rule.Rule) bool // rules it is about, which may change; nil for none

	// Slips are sought in the digits as written, so that other causes may be named.
	digits bool
}

// layouts are transformations of where things stand.
func layouts() []transformation {
	return []transformation{
		{name: "modifiers lowered to items", apply: lowered},
		{name: "modifiers hoisted to containers", apply: hoisted},
		{name: "one flat list with sites", apply: flat},
		{name: "pre- and post-coordinated containers", apply: simplified},
		{name: "sections in another order", apply: sectionsShuffled},
		{name: "groups in another order", apply: groupsShuffled},
		{name: "measurands in another order", apply: itemsShuffled},
		{name: "modifiers in another order", apply: modifiersShuffled},
		{name: "every group in a further container", apply: nested},
		{name: "every measurand in a group of its own", apply: apart},
		{name: "two report objects", apply: split},
		{name: "the same object twice", apply: twice},
		{name: "preliminary, then amended", apply: amended},
		{name: "an exact copy of a measurement", apply: copied},
		{name: "template identifiers absent", apply: withoutTemplate},
		{name: "an unknown measurement", apply: withUnknown},
		{name: "an unknown container", apply: withUnknownContainer},
		{name: "an unknown header", apply: withUnknownHeader},
		{name: "empty containers", apply: withEmptyContainers},
		{name: "observers absent", apply: withoutObservers},
		{name: "Enhanced SR", apply: ofClass("1.2.840.10008.5.1.4.1.1.88.22")},
		{name: "Comprehensive 3D SR", apply: ofClass("1.2.840.10008.5.1.4.1.1.88.34")},
		{name: "comments on measurements", apply: withComments},
		{name: "tracking identifiers", apply: withTracking},
	}
}

// lowered writes what a container says of its measurements on each of them; the
// finding site of a section stays, for it is the section.
func lowered(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			for _, m := range slices.Clone(c.children) {
				if !m.isModifier() || m.named(findingSite) {
					continue
				}
				done = true
				for _, n := range c.children {
					if n.isNumber() && n.modifier([2]string{m.name.scheme, m.name.value}) == nil {
						n.children = append(n.children, m.clone())
					}
				}
				c.children = slices.DeleteFunc(c.children, func(n *node) bool { return n == m })
			}
		}
	}
	return done
}

// hoisted gives every measurand a group that says what its items said.
func hoisted(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			if patient(c) {
				continue
			}
			regroup(c, func(first *node) *node {
				group := measurementGroup()
				for _, m := range first.children {
					if m.isModifier() {
						group.children = append(group.children, m.clone())
						done = true
					}
				}
				return group
			}, func(n *node) { n.children = slices.DeleteFunc(n.children, (*node).isModifier) })
		}
	}
	return done
}

// apart gives every measurand a group of its own.
func apart(_ *bench, s *study) bool {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			if !patient(c) {
				regroup(c, func(*node) *node { return measurementGroup() }, func(*node) {})
			}
		}
	}
	return true
}

func regroup(c *node, open func(first *node) *node, each func(*node)) {
	groups := map[string]*node{}
	var out []*node
	for _, n := range c.children {
		if !n.isNumber() {
			out = append(out, n)
			continue
		}
		id := n.identity()
		if groups[id] == nil {
			groups[id] = open(n)
			out = append(out, groups[id])
		}
		each(n)
		groups[id].children = append(groups[id].children, n)
	}
	c.children = out
}

// patient: the container of the patient's characteristics.
func patient(n *node) bool { return n.name.is("DCM", "121118") }

// section: a container of findings with a site.
func section(n *node) bool { return n.isContainer() && n.modifier(findingSite) != nil }

// flat drops sections and groups: one list of findings, the site a modifier.
func flat(_ *bench, s *study) bool { return s.flatten(false) }

// simplified is flat under the two containers of TID 5300.
func simplified(_ *bench, s *study) bool { return s.flatten(true) }

func (s *study) flatten(two bool) (done bool) {
	if s.copies {
		return false // in one list a copy is a second beat
	}
	for _, r := range s.reports {
		pre := newContainer(concept{value: "125301", scheme: "DCM", meaning: "Pre-coordinated Measurements"})
		post := newContainer(concept{value: "125302", scheme: "DCM", meaning: "Post-coordinated Measurements"})
		if !two {
			post.name = concept{value: "121070", scheme: "DCM", meaning: "Findings"}
		}
		for _, c := range r.children {
			if !section(c) {
				continue
			}
			done = true
			c.lift(nil, func(n *node) {
				if two && !slices.ContainsFunc(n.children, (*node).isModifier) {
					pre.children = append(pre.children, n)
				} else {
					post.children = append(post.children, n)
				}
			})
		}
		if !done {
			continue
		}
		var kept []*node
		for _, c := range r.children {
			if !section(c) {
				kept = append(kept, c)
			} else if slices.ContainsFunc(c.children, func(n *node) bool { return !n.isModifier() }) {
				kept = append(kept, c) // words of the section
			}
		}
		r.children = append(kept, post)
		if len(pre.children) > 0 {
			r.children = append(r.children, pre)
		}
	}
	return done
}

// lift takes all measurements out of a container, with what the containers say.
func (n *node) lift(above []*node, take func(*node)) {
	said := slices.Clone(above)
	for _, m := range n.children {
		if m.isModifier() {
			said = append(said, m)
		}
	}
	var kept []*node
	for _, c := range n.children {
		switch {
		case c.isNumber():
			for i := len(said) - 1; i >= 0; i-- { // the nearest speaks
				if m := said[i]; c.modifier([2]string{m.name.scheme, m.name.value}) == nil {
					c.children = append(c.children, m.clone())
				}
			}
			take(c)
		case c.isContainer():
			c.lift(said, take)
			if slices.ContainsFunc(c.children, func(n *node) bool { return !n.isModifier() }) {
				kept = append(kept, c)
			}
		default:
			kept = append(kept, c)
		}
	}
	n.children = kept
}

// shuffleChildren changes the order of the children of which move is true.
func (s *study) shuffleChildren(n *node, move func(*node) bool) bool {
	var at []int
	for i, c := range n.children {
		if move(c) {
			at = append(at, i)
		}
	}
	s.random.Shuffle(len(at), func(i, j int) {
		n.children[at[i]], n.children[at[j]] = n.children[at[j]], n.children[at[i]]
	})
	return len(at) > 1
}

func sectionsShuffled(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		done = s.shuffleChildren(r, (*node).isContainer) || done
	}
	return done
}

func groupsShuffled(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.children {
			done = c.isContainer() && s.shuffleChildren(c, (*node).isContainer) || done
		}
	}
	return done
}

// itemsShuffled keeps the values of one measurand in their order.
func itemsShuffled(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			var order []string
			blocks := map[string][]*node{}
			var out []*node
			for _, n := range c.children {
				id := n.measurand
				if !n.isNumber() {
					out = append(out, n)
					continue
				}
				if id == "" {
					id = n.identity()
				}
				if blocks[id] == nil {
					order = append(order, id)
				}
				blocks[id] = append(blocks[id], n)
			}
			s.random.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
			for _, id := range order {
				out = append(out, blocks[id]...)
			}
			c.children, done = out, done || len(order) > 1
		}
	}
	return done
}

func modifiersShuffled(_ *bench, s *study) (done bool) {
	for _, n := range s.numbers() {
		done = s.shuffleChildren(n, func(*node) bool { return true }) || done
	}
	return done
}

func nested(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			if patient(c) {
				continue
			}
			kept, moved := []*node{}, []*node{}
			for _, n := range c.children {
				if n.isNumber() {
					moved = append(moved, n)
				} else {
					kept = append(kept, n)
				}
			}
			c.children, done = append(kept, measurementGroup(measurementGroup(moved...))), true
		}
	}
	return done
}

// Tags of the header that tell one report from another.
var (
	tagInstance    = dcm.T(0x00080018)
	tagSeries      = dcm.T(0x0020000E)
	tagStudy       = dcm.T(0x0020000D)
	tagContentTime = dcm.T(0x00080033)
	tagClass       = dcm.T(0x00080016)
)

// split puts half of the containers into a second object.
func split(_ *bench, s *study) bool {
	first := s.reports[len(s.reports)-1]
	second := first.clone()
	n := 0
	first.children = slices.DeleteFunc(first.children, func(c *node) bool {
		if !c.isContainer() {
			return false
		}
		n++
		return n%2 == 0
	})
	m := 0
	second.children = slices.DeleteFunc(second.children, func(c *node) bool {
		if !c.isContainer() {
			return false
		}
		m++
		return m%2 == 1
	})
	second.rest.Set(dcm.Strings(tagInstance, "2.25.33"), dcm.Strings(tagSeries, "2.25.22"))
	s.reports = append(s.reports, second)
	return n > 1
}

func twice(_ *bench, s *study) bool {
	again := s.reports[0].clone()
	again.rest.Set(dcm.Strings(tagInstance, "2.25.34"))
	s.reports = append(s.reports, again)
	return true
}

// amended has an earlier preliminary report that says half of it otherwise.
func amended(_ *bench, s *study) bool {
	last := s.reports[0]
	early := last.clone()
	early.rest.Set(
		dcm.Strings(tagInstance, "2.25.35"), dcm.Strings(tagContentTime, "093000"), dcm.Strings(dcm.T(0x0040A496), "PRELIMINARY"),
	)
	for i, n := range early.numbers() {
		if i%2 == 0 && n.measurand != "" && n.number != "" {
			n.number = shift(n.number, 1)
		}
	}
	last.rest.Set(dcm.Strings(dcm.T(0x0040A496), "FINAL"), predecessor(last, "2.25.35"))
	s.reports = append([]*node{early}, s.reports...)
	return true
}

func predecessor(n *node, instance string) dcm.Element {
	return dcm.Sequence(dcm.T(0x0040A360), dcm.New(
		dcm.Strings(tagStudy, n.rest.Text(tagStudy)),
		dcm.Sequence(dcm.T(0x00081115), dcm.New(
			dcm.Strings(tagSeries, n.rest.Text(tagSeries)),
			dcm.Sequence(dcm.T(0x00081199), dcm.New(
				dcm.Strings(dcm.T(0x00081150), n.rest.Text(tagClass)), dcm.Strings(dcm.T(0x00081155), instance),
			)),
		)),
	))
}

// copied sends a single value once more, in a further group beside its own.
func copied(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		for _, c := range r.containers() {
			for _, n := range slices.Clone(c.children) {
				if n.isNumber() && s.base.counts[n.measurand] == 1 && n.measurand != "" && s.random.IntN(4) == 0 {
					c.children, done = append(c.children, copiedGroup(c, n)), true
					s.copies = true
				}
			}
		}
	}
	return done
}

// copiedGroup holds the copy with what the container says of the original.
func copiedGroup(c, n *node) *node {
	group := measurementGroup()
	for _, m := range c.children {
		if m.isModifier() {
			group.children = append(group.children, m.clone())
		}
	}
	group.children = append(group.children, n.clone())
	return group
}

func withoutTemplate(_ *bench, s *study) (done bool) {
	s.walk(func(n *node) {
		done = done || n.rest.Has(tagTemplate)
		n.rest.Remove(tagTemplate)
	})
	return done
}

func unknownNumber() *node {
	return &node{
		relation: "CONTAINS", valueType: "NUM", name: concept{value: "Z7", scheme: "99INVENTED", meaning: "Quantity of the maker's own"},
		number: "17.5", unit: &concept{value: "cm", scheme: "UCUM", meaning: "cm"},
	}
}

func withUnknown(_ *bench, s *study) bool {
	list := s.reports[0].containers()
	c := list[s.random.IntN(len(list))]
	c.children = append(c.children, unknownNumber())
	return true
}

func withUnknownContainer(_ *bench, s *study) bool {
	r := s.reports[0]
	r.children = append(r.children, newContainer(concept{value: "Z8", scheme: "99INVENTED", meaning: "Settings of the maker's own"},
		&node{
			relation: "CONTAINS", valueType: "CODE", name: concept{value: "Z9", scheme: "99INVENTED", meaning: "Preset"},
			coded: concept{value: "Z10", scheme: "99INVENTED", meaning: "Cardiac"},
		},
		&node{relation: "CONTAINS", valueType: "TEXT", name: concept{value: "Z11", scheme: "99INVENTED", meaning: "Serial text"}, text: "A1-77"}))
	return true
}

func withUnknownHeader(_ *bench, s *study) bool {
	for _, r := range s.reports {
		r.rest.Add(
			dcm.Private(dcm.T(0x00510010), "LO", []string{"INVENTED MAKER"}), dcm.Private(dcm.T(0x00511001), "LO", []string{"17.5"}),
			dcm.Strings(dcm.T(0x00081060)), dcm.Strings(dcm.T(0x00081070)), dcm.Strings(dcm.T(0x00102180)), dcm.Strings(dcm.T(0x00104000)),
		)
	}
	return true
}

func withEmptyContainers(_ *bench, s *study) bool {
	for _, r := range s.reports {
		r.children = append(r.children, newContainer(concept{value: "121070", scheme: "DCM", meaning: "Findings"}), measurementGroup())
	}
	return true
}

func withoutObservers(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		r.remove(func(n *node) bool {
			drop := n.relation == "HAS OBS CONTEXT"
			done = done || drop
			return drop
		})
	}
	return done
}

func ofClass(uid string) func(*bench, *study) bool {
	return func(_ *bench, s *study) bool {
		for _, r := range s.reports {
			r.rest.Set(dcm.Strings(tagClass, uid))
		}
		return true
	}
}

// withComments says of measurements what is no statement (121106 DCM, Comment).
func withComments(_ *bench, s *study) bool {
	for _, n := range s.numbers() {
		n.children = append(n.children, &node{
			relation: "HAS PROPERTIES", valueType: "TEXT", name: concept{value: "121106", scheme: "DCM", meaning: "Comment"}, text: "caliper 2",
		})
	}
	return true
}

// withTracking gives every measurement a unique identifier (112040 DCM).
func withTracking(_ *bench, s *study) bool {
	for _, r := range s.reports {
		for i, n := range r.numbers() {
			n.children = append(n.children, &node{
				relation: "HAS OBS CONTEXT", valueType: "UIDREF", name: concept{value: "112040", scheme: "DCM", meaning: "Tracking Unique Identifier"},
				rest: dcm.New(dcm.Strings(dcm.T(0x0040A124), "2.25.77."+strconv.Itoa(i+1))),
			})
		}
	}
	return true
}
