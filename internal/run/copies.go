package run

import (
	"context"
	"reflect"

	"echotally/internal/sr"
)

// settleCopies keeps one of several copies of an object. A copy with the same
// bytes, or the same content in another encoding, is ignored; two different
// contents under one SOP Instance UID cannot both be right, and which is is not
// known, so the later one in the order of the list is refused. Only objects that
// share a SOP Instance UID are read for that.
func (r Reader) settleCopies(ctx context.Context, notes []Note) {
	bySum, byUID := map[string]int{}, map[string][]int{}
	for i := range notes {
		o := &notes[i].Object
		if o.SHA256 == "" {
			continue
		}
		if first, ok := bySum[o.SHA256]; ok {
			notes[i].settled(copyOf(*o, notes[first].Object, "exact copy of "))
			continue
		}
		bySum[o.SHA256] = i
		if o.SOPInstanceUID != "" && o.State != Refused {
			byUID[o.SOPInstanceUID] = append(byUID[o.SOPInstanceUID], i)
		}
	}
	for _, same := range byUID {
		if len(same) > 1 {
			r.settleSame(ctx, notes, same)
		}
	}
}

// settleSame settles the objects of one SOP Instance UID. Two of them are held
// at a time.
func (r Reader) settleSame(ctx context.Context, notes []Note, same []int) {
	first, at := reading{}, -1
	for _, i := range same {
		one := r.read(ctx, notes[i].found)
		switch {
		case one.object.State == Refused:
			notes[i].settled(one.object)
		case at < 0:
			first, at = one, i
		default:
			other := first.object
			if settle(&first, &one) {
				notes[at].settled(first.object)
				first, at = one, i
			} else if one.object != other {
				notes[i].settled(one.object)
			}
		}
	}
}

// settle decides which of two objects of one SOP Instance UID counts; true when
// it is the later one.
func settle(first, later *reading) bool {
	switch {
	case first.object.State == Partial && later.object.State == Read:
		first.object = copyOf(first.object, later.object, "damaged copy of ")
		return true
	case later.object.State == Partial && first.object.State == Read:
		later.object = copyOf(later.object, first.object, "damaged copy of ")
	case later.document == nil && first.document == nil:
		later.object = copyOf(later.object, first.object, "same SOP Instance UID as ")
	case sameContent(first.document, later.document):
		later.object = copyOf(later.object, first.object, "same object as ")
	default:
		*later = later.refuse("same SOP Instance UID as "+first.object.Path+" but other content: which is right is not known",
			"compare the two with the archive and remove the wrong one")
		later.object.Other = first.object.Path
	}
	return false
}

func copyOf(o, first Object, what string) Object {
	o.Image, o.State = false, Ignored
	o.Reason, o.Hint, o.Other = what+first.Path, "", first.Path
	return o
}

// sameContent compares what two reports say; how they were encoded and where
// they depart from the standard does not count.
func sameContent(a, b *sr.Document) bool {
	if a == nil || b == nil {
		return false
	}
	x, y := *a, *b
	x.Deviations, y.Deviations = nil, nil
	return reflect.DeepEqual(x, y)
}
