package sr

import "slices"

// byValueOnly are the SOP classes whose relationships must be by value (PS3.3
// A.35.1.3.1, A.35.2.3.1, A.35.4.3.1, A.35.17.3.1).
var byValueOnly = []string{
	"1.2.840.10008.5.1.4.1.1.88.11", "1.2.840.10008.5.1.4.1.1.88.22", KeyObjectSelection, "1.2.840.10008.5.1.4.1.1.88.72",
}

// sources lists, per relationship type, the value types it may start from:
// the union over the IODs of PS3.3 A.35, so that only what no report may do is
// called a departure. Of a relationship without any it may be every one.
func sources(r RelationshipType) (from []ValueType, known bool) {
	switch r {
	case Contains:
		return fromContainer, true
	case HasObsContext:
		return fromObserved, true
	case HasAcqContext:
		return fromAcquired, true
	case HasConceptMod:
		return nil, true
	case HasProperties:
		return fromDescribed, true
	case InferredFrom:
		return fromInferred, true
	case SelectedFrom:
		return fromSelected, true
	}
	return nil, false
}

var (
	fromContainer = []ValueType{ContainerValue}
	fromObserved  = []ValueType{ContainerValue, TextValue, CodeValue, NumValue}
	fromAcquired  = []ValueType{ContainerValue, ImageValue, WaveformValue, CompositeValue, NumValue}
	fromDescribed = []ValueType{TextValue, CodeValue, NumValue, PNameValue, DateTimeValue, DateValue, TimeValue, UIDRefValue, ImageValue, WaveformValue, CompositeValue, SCoordValue, SCoord3DValue, TCoordValue, ContainerValue}
	fromInferred  = []ValueType{TextValue, CodeValue, NumValue, DateTimeValue, DateValue, TimeValue, UIDRefValue, PNameValue, ContainerValue}
	fromSelected  = []ValueType{SCoordValue, SCoord3DValue, TCoordValue}
)

// relationship checks how a child hangs from its parent; departures are
// recorded and the child is kept where it is.
func (p *parser) relationship(parent, child *ContentItem) {
	id := child.Identifier
	allowed, known := sources(child.RelationshipType)
	switch {
	case child.RelationshipType == "":
		p.deviate(id, "PS3.3 C.17.3", "Relationship Type (0040,A010) is missing")
	case !known:
		p.deviate(id, "PS3.3 C.17.3", "Relationship Type %q is no defined term", printable(string(child.RelationshipType)))
	case len(allowed) > 0 && !slices.Contains(allowed, parent.ValueType):
		p.deviate(id, "PS3.3 A.35", "%s does not start from a %s item", child.RelationshipType, parent.ValueType)
	case child.RelationshipType == HasConceptMod && child.Reference == nil && (child.ValueType == ContainerValue || child.ValueType == ImageValue):
		p.deviate(id, "PS3.3 A.35", "HAS CONCEPT MOD does not lead to a %s item", child.ValueType)
	}
	if child.Reference != nil && slices.Contains(byValueOnly, p.doc.SOPClassUID) {
		p.deviate(id, "PS3.3 A.35", "an item by reference is not allowed in this SOP class")
	}
}

// resolveReferences finds the target of each by-reference item and cuts those
// that would close a loop.
func (p *parser) resolveReferences() {
	for _, r := range p.references {
		r.Referenced = p.doc.Find(r.Reference)
		switch {
		case r.Referenced == nil:
			p.deviate(r.Identifier, "PS3.3 C.17.3", "the referenced content item %s does not exist", r.Reference)
		case r.Referenced.Reference != nil:
			r.Referenced = nil
			p.deviate(r.Identifier, "PS3.3 C.17.3", "the referenced content item %s is itself a reference", r.Reference)
		}
	}
	if len(p.references) > 0 {
		p.cutLoops()
	}
}

// cutLoops walks the graph of by-value children and references depth first and
// drops every reference that leads back to an item still being walked. It uses
// a stack of its own: a chain of references may be as long as the file.
func (p *parser) cutLoops() {
	type frame struct {
		item *ContentItem
		next int
	}
	const walking, done = 1, 2
	state := map[*ContentItem]int{&p.doc.ContentItem: walking}
	stack := []frame{{item: &p.doc.ContentItem}}
	for len(stack) > 0 {
		top := &stack[len(stack)-1]
		var to *ContentItem
		switch {
		case top.item.Referenced != nil && top.next == 0:
			to = top.item.Referenced
			if state[to] == walking {
				p.deviate(top.item.Identifier, "PS3.3 C.17.3", "the reference to %s closes a loop; it is not followed", top.item.Reference)
				top.item.Referenced, to = nil, nil
			}
		case top.next < len(top.item.ContentItems):
			to = &top.item.ContentItems[top.next]
		default:
			state[top.item] = done
			stack = stack[:len(stack)-1]
			continue
		}
		top.next++
		if to != nil && state[to] == 0 {
			state[to] = walking
			stack = append(stack, frame{item: to})
		}
	}
}
