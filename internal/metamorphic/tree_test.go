package metamorphic

import (
	"slices"
	"strconv"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/phantom"
)

// Tags of what a transformation may change in a content item.
var (
	tagRelationship = dcm.T(0x0040A010)
	tagConceptCode  = dcm.T(0x0040A168)
	tagText         = dcm.T(0x0040A160)
	tagCodeMeaning  = dcm.T(0x00080104)
	tagTemplate     = dcm.T(0x0040A504)
	tagContinuity   = dcm.T(0x0040A050)
)

// concept is a code as written; more are further elements of its item.
type concept struct {
	value, scheme, meaning string
	more                   []dcm.Element
}

func conceptOf(d dcm.Dataset) concept {
	return concept{value: d.Text(phantom.TagCodeValue), scheme: d.Text(phantom.TagCodeScheme), meaning: d.Text(tagCodeMeaning)}
}

func (c concept) dataset() dcm.Dataset {
	d := dcm.New(dcm.Strings(phantom.TagCodeValue, c.value), dcm.Strings(phantom.TagCodeScheme, c.scheme), dcm.Strings(tagCodeMeaning, c.meaning))
	d.Add(c.more...)
	return d
}

// key is what the concept is, however it is spelled.
func (c concept) key() coding.Key {
	return coding.CodedConcept{CodeValue: c.value, CodingSchemeDesignator: c.scheme}.Key()
}

func (c concept) is(scheme, value string) bool {
	return c.key() == coding.CodedConcept{CodeValue: value, CodingSchemeDesignator: scheme}.Key()
}

// node is a content item that may be changed. What is not taken apart stands in
// rest: of the root, all of the header.
type node struct {
	relation, valueType string
	name                concept
	coded               concept // CODE
	text                string  // TEXT
	number              string  // NUM, "" for none
	unit                *concept
	binary              bool // the number stands there as a Floating Point Value (0040,A161) too
	rest                dcm.Dataset
	children            []*node

	measurand string // NUM: what it was read as before anything was changed
}

func nodeOf(d dcm.Dataset) *node {
	n := &node{relation: d.Text(tagRelationship), valueType: d.Text(phantom.TagValueType)}
	for _, e := range d.Elements {
		switch {
		case e.Tag == tagRelationship || e.Tag == phantom.TagValueType:
		case e.Tag == phantom.TagConceptName:
			n.name = conceptOf(d.Sequence(e.Tag)[0])
		case e.Tag == tagConceptCode:
			n.coded = conceptOf(d.Sequence(e.Tag)[0])
		case e.Tag == tagText:
			n.text = d.Text(e.Tag)
		case e.Tag == phantom.TagMeasuredValue:
			n.measure(d.Sequence(e.Tag))
		case e.Tag == phantom.TagContent:
			for _, child := range d.Sequence(e.Tag) {
				n.children = append(n.children, nodeOf(child))
			}
		default:
			n.rest.Add(e)
		}
	}
	return n
}

func (n *node) measure(values []dcm.Dataset) {
	if len(values) == 0 {
		return
	}
	n.number = values[0].Text(phantom.TagNumericValue)
	if units := values[0].Sequence(phantom.TagUnits); len(units) > 0 {
		unit := conceptOf(units[0])
		n.unit = &unit
	}
}

func (n *node) dataset() dcm.Dataset {
	d := dcm.New(slices.Clone(n.rest.Elements)...)
	if n.relation != "" {
		d.Add(dcm.Strings(tagRelationship, n.relation))
	}
	d.Add(dcm.Strings(phantom.TagValueType, n.valueType), dcm.Sequence(phantom.TagConceptName, n.name.dataset()))
	switch n.valueType {
	case "CODE":
		d.Add(dcm.Sequence(tagConceptCode, n.coded.dataset()))
	case "TEXT":
		d.Add(dcm.Strings(tagText, n.text))
	case "NUM":
		var values []dcm.Dataset
		if n.number != "" {
			value := dcm.New(dcm.Strings(phantom.TagNumericValue, n.number))
			if v, err := strconv.ParseFloat(strings.TrimSpace(n.number), 64); err == nil && n.binary {
				value.Add(dcm.Floats(dcm.T(0x0040A161), v))
			}
			if n.unit != nil {
				value.Add(dcm.Sequence(phantom.TagUnits, n.unit.dataset()))
			} else {
				value.Add(dcm.Sequence(phantom.TagUnits))
			}
			values = append(values, value)
		}
		d.Add(dcm.Sequence(phantom.TagMeasuredValue, values...))
	}
	if len(n.children) > 0 {
		list := make([]dcm.Dataset, len(n.children))
		for i, child := range n.children {
			list[i] = child.dataset()
		}
		d.Add(dcm.Sequence(phantom.TagContent, list...))
	}
	return d
}

func (n *node) clone() *node {
	c := *n
	c.rest = dcm.New(slices.Clone(n.rest.Elements)...)
	if n.unit != nil {
		unit := *n.unit
		c.unit = &unit
	}
	c.children = make([]*node, len(n.children))
	for i, child := range n.children {
		c.children[i] = child.clone()
	}
	return &c
}

// walk visits an item and all below it; a parent comes before its children.
func (n *node) walk(visit func(n *node)) {
	visit(n)
	for _, child := range n.children {
		child.walk(visit)
	}
}

// containers are all containers that hold measurements directly.
func (n *node) containers() (out []*node) {
	n.walk(func(n *node) {
		if slices.ContainsFunc(n.children, (*node).isNumber) && n.valueType == "CONTAINER" {
			out = append(out, n)
		}
	})
	return out
}

// numbers are the measurements that stand in containers.
func (n *node) numbers() (out []*node) {
	for _, c := range n.containers() {
		for _, child := range c.children {
			if child.isNumber() {
				out = append(out, child)
			}
		}
	}
	return out
}

// remove takes out all items below of which drop is true.
func (n *node) remove(drop func(*node) bool) {
	n.children = slices.DeleteFunc(n.children, drop)
	for _, child := range n.children {
		child.remove(drop)
	}
}

func (n *node) isNumber() bool    { return n.valueType == "NUM" }
func (n *node) isContainer() bool { return n.valueType == "CONTAINER" }

// Concept names of modifiers, as scheme and value.
var (
	findingSite      = [2]string{"SCT", "363698007"}
	imageMode        = [2]string{"SCT", "399264008"}
	imageView        = [2]string{"DCM", "111031"}
	flowDirection    = [2]string{"SCT", "260674002"}
	method           = [2]string{"SCT", "370129005"}
	cyclePoint       = [2]string{"SCT", "272518008"}
	respiratoryPoint = [2]string{"SCT", "272517003"}
	derivation       = [2]string{"DCM", "121401"}
	selection        = [2]string{"DCM", "121404"}
	language         = [2]string{"DCM", "121049"}
)

func (n *node) named(name [2]string) bool { return n.name.is(name[0], name[1]) }

// isModifier: a code that qualifies a measurement and may stand on its container as well.
func (n *node) isModifier() bool {
	return n.valueType == "CODE" && slices.ContainsFunc([][2]string{findingSite, imageMode, imageView, flowDirection, method, cyclePoint, respiratoryPoint}, n.named)
}

func (n *node) modifier(name [2]string) *node {
	for _, child := range n.children {
		if child.valueType == "CODE" && child.named(name) {
			return child
		}
	}
	return nil
}

func newModifier(relation string, name [2]string, meaning string, value concept) *node {
	return &node{relation: relation, valueType: "CODE", name: concept{value: name[1], scheme: name[0], meaning: meaning}, coded: value}
}

func newContainer(name concept, children ...*node) *node {
	return &node{
		relation: "CONTAINS", valueType: "CONTAINER", name: name, children: children,
		rest: dcm.New(dcm.Strings(tagContinuity, "SEPARATE")),
	}
}

func measurementGroup(children ...*node) *node {
	return newContainer(concept{value: "125007", scheme: "DCM", meaning: "Measurement Group"}, children...)
}

// identity is what a measurement is of, without its number, unit and derivation.
func (n *node) identity() string {
	out := []string{n.name.key().String()}
	for _, child := range n.children {
		if child.isModifier() {
			out = append(out, child.name.key().String()+"="+child.coded.key().String())
		}
	}
	slices.Sort(out[1:])
	return strconv.Quote(n.measurand) + " " + joined(out)
}

// paths gives every item its position path.
func (n *node) paths(path string, visit func(path string, n *node)) {
	visit(path, n)
	for i, child := range n.children {
		child.paths(path+"."+strconv.Itoa(i+1), visit)
	}
}
