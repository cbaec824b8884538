package sr

// Walk calls visit for every item in document order with its ancestors
// (outermost first); visit returns false to skip the item's children.
// By-reference targets are not entered. The ancestors are only valid during the
// call.
func Walk(root *ContentItem, visit func(item *ContentItem, ancestors []*ContentItem) bool) {
	walk(root, make([]*ContentItem, 0, 16), visit)
}

func walk(item *ContentItem, ancestors []*ContentItem, visit func(*ContentItem, []*ContentItem) bool) {
	if !visit(item, ancestors) {
		return
	}
	ancestors = append(ancestors, item)
	for i := range item.ContentItems {
		walk(&item.ContentItems[i], ancestors, visit)
	}
}

// Each is [Walk] for who does not look at the ancestors.
func Each(item *ContentItem, visit func(*ContentItem) bool) {
	if !visit(item) {
		return
	}
	for i := range item.ContentItems {
		Each(&item.ContentItems[i], visit)
	}
}

// Find returns the item at a position path, nil when there is none.
func (d *Document) Find(id ItemIdentifier) *ContentItem {
	if len(id) == 0 || id[0] != 1 {
		return nil
	}
	item := &d.ContentItem
	for _, n := range id[1:] {
		if n < 1 || int64(n) > int64(len(item.ContentItems)) {
			return nil
		}
		item = &item.ContentItems[n-1]
	}
	return item
}

// Target returns the item itself, or what it refers to when it is by
// reference; nil for a reference that leads nowhere.
func (c *ContentItem) Target() *ContentItem {
	if c.Reference != nil {
		return c.Referenced
	}
	return c
}

// ImageUse is an image an item was made on, with the coordinates if stated.
type ImageUse struct {
	InstanceReference
	GraphicType string
	GraphicData []float64
}

// Images lists the images an item points at: IMAGE children, and images that
// SCOORD children were selected from, by value or by reference.
func Images(item *ContentItem) []ImageUse {
	var out []ImageUse
	for i := range item.ContentItems {
		child := item.ContentItems[i].Target()
		if child == nil {
			continue
		}
		switch child.ValueType {
		case ImageValue:
			out = appendUses(out, child.References, "", nil)
		case SCoordValue:
			for j := range child.ContentItems {
				if image := child.ContentItems[j].Target(); image != nil && image.ValueType == ImageValue {
					out = appendUses(out, image.References, child.GraphicType, child.GraphicData)
				}
			}
		}
	}
	return out
}

func appendUses(out []ImageUse, refs []InstanceReference, graphicType string, data []float64) []ImageUse {
	for _, r := range refs {
		out = append(out, ImageUse{InstanceReference: r, GraphicType: graphicType, GraphicData: data})
	}
	return out
}
