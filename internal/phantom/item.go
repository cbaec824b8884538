package phantom

import "strconv"

// Item is a content item of the report to be written (PS3.3 C.17.3).
type Item struct {
	relation  string // of the item to its parent
	valueType string
	name      code
	value     code      // CODE
	text      string    // TEXT, PNAME, UIDREF
	number    string    // NUM, as written; "" for none
	unit      *code     // NUM; nil when no unit is written
	qualifier *code     // NUM
	template  string    // CONTAINER
	class     string    // IMAGE: its SOP class; the text is its instance
	points    []float64 // SCOORD: one point, column and row
	children  []Item
	measurand string // NUM: what it is, for the truth; not written
}

const (
	contains       = "CONTAINS"
	hasContext     = "HAS OBS CONTEXT"
	hasModifier    = "HAS CONCEPT MOD"
	hasAcquisition = "HAS ACQ CONTEXT"
	hasProperty    = "HAS PROPERTIES"
	inferredFrom   = "INFERRED FROM"
	selectedFrom   = "SELECTED FROM"
)

func container(relation string, name code, children ...Item) Item {
	return Item{relation: relation, valueType: "CONTAINER", name: name, children: children}
}

func coded(relation string, name, value code, children ...Item) Item {
	return Item{relation: relation, valueType: "CODE", name: name, value: value, children: children}
}

func text(relation string, name code, words string) Item {
	return Item{relation: relation, valueType: "TEXT", name: name, text: words}
}

// with appends children.
func (i Item) with(children ...Item) Item {
	i.children = append(i.children, children...)
	return i
}

// Position is the position path of the first item of a measurand, "" when
// there is none.
func (i Item) Position(measurand string) string {
	if i.relation == "" {
		return i.search("1", measurand)
	}
	return ""
}

func (i Item) search(path, measurand string) string {
	if i.measurand == measurand {
		return path
	}
	for n, child := range i.children {
		if found := child.search(path+"."+strconv.Itoa(n+1), measurand); found != "" {
			return found
		}
	}
	return ""
}
