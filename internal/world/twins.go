package world

import (
	"fmt"
	"strings"

	"echotally/internal/world/chance"
)

// place is a node of interest with its position.
type place struct {
	path string
	n    *node
}

func (rp *report) places(doc int) (map[string]place, []string) {
	out := map[string]place{}
	var order []string
	rp.tree(doc).walk("1", func(path string, n *node) {
		if n.id == "" {
			return
		}
		id := n.id
		for i := 2; ; i++ { // lines may share an id
			if _, dup := out[id]; !dup {
				break
			}
			id = fmt.Sprintf("%s#%d", n.id, i)
		}
		out[id] = place{path, n}
		order = append(order, id)
	})
	return out, order
}

func written(n *node) string {
	if n.vt == "CODE" {
		return n.code.Value
	}
	return n.text
}

// idKey tells the quantity an id belongs to.
func idKey(id string) string {
	id = strings.SplitN(id, "#", 2)[0]
	for _, p := range []string{"pat-", "find-", "line-", "note-"} {
		if strings.HasPrefix(id, p) {
			return id[len(p):]
		}
	}
	if strings.HasPrefix(id, "mod|") {
		p := strings.SplitN(id, "|", 4)
		return p[2]
	}
	if strings.HasPrefix(id, "in|") {
		return id[strings.LastIndex(id, "|")+1:]
	}
	return trimKey(id)
}

// change is one altered item with its id.
type change struct {
	ItemRef
	id string
}

// diff lists what the slipped report writes otherwise than its clean twin;
// culprits (keys or ids) first, what follows from them after.
func diff(clean, slip *report, culprits []string) []ItemRef {
	guilty := keySet(culprits...)
	var all []change
	direct := map[string]bool{} // keys altered outside retyped copies
	add := func(r ItemRef, id string) {
		r.Follows = !guilty[r.Key] && !guilty[id]
		if !r.Follows && !strings.Contains(id, "|copy|") {
			direct[r.Key] = true
		}
		all = append(all, change{r, id})
	}
	for doc := range slip.head {
		documents(clean, slip, doc, add)
		attributes(clean, slip, doc, func(r ItemRef) { add(r, "") })
	}
	var first, rest []ItemRef
	for _, c := range all {
		if strings.Contains(c.id, "|copy|") && direct[c.Key] {
			c.Follows = true
		}
		if c.Follows {
			rest = append(rest, c.ItemRef)
		} else {
			first = append(first, c.ItemRef)
		}
	}
	return append(first, rest...)
}

// documents compares one document of both trees.
func documents(clean, slip *report, doc int, add func(ItemRef, string)) {
	a, order := clean.places(doc)
	b, orderB := slip.places(doc)
	for _, id := range order {
		pa := a[id]
		pb, ok := b[id]
		ref := ItemRef{Code: pa.n.name.Value, Scheme: pa.n.name.Scheme, Meaning: pa.n.name.Meaning, Doc: doc,
			Path: pa.path, True: written(pa.n), Unit: pa.n.unit.Value, TrueUnit: pa.n.unit.Value, Key: idKey(id)}
		if !ok { // missing: the position is that of the clean twin
			ref.Missing = true
			add(ref, id)
			continue
		}
		ref.Path, ref.Written, ref.Unit = pb.path, written(pb.n), pb.n.unit.Value
		if ref.Written != ref.True || ref.Unit != ref.TrueUnit {
			add(ref, id)
		}
	}
	for _, id := range orderB {
		if _, ok := a[id]; !ok {
			n := b[id].n
			add(ItemRef{Code: n.name.Value, Scheme: n.name.Scheme, Meaning: n.name.Meaning, Doc: doc,
				Path: b[id].path, Written: written(n), Unit: n.unit.Value, Key: idKey(id)}, id)
		}
	}
}

// attributes compares the header.
func attributes(clean, slip *report, doc int, add func(ItemRef)) {
	a, b := clean.head[doc], slip.head[doc]
	put := func(tag, name, key, was, is string) {
		if was != is {
			add(ItemRef{Code: tag, Scheme: "attribute", Meaning: name, Doc: doc, Written: is, True: was, Key: key})
		}
	}
	put("(0010,0010)", "Patient's Name", "name", a.name, b.name)
	put("(0010,0020)", "Patient ID", "name", a.id, b.id)
	put("(0010,0030)", "Patient's Birth Date", "birth", a.birth, b.birth)
	put("(0010,0040)", "Patient's Sex", "sex", a.sex, b.sex)
	if clean.d.name != "ungert" && clean.d.name != "pindrel" {
		put("(0010,1010)", "Patient's Age", "age", ageString(a.age), ageString(b.age))
		put("(0010,1020)", "Patient's Size", "height", metres(a.height), metres(b.height))
		put("(0010,1030)", "Patient's Weight", "weight", a.weight, b.weight)
	}
	put("(0008,0023)", "Content Date", "date", clean.date, slip.date)
}

func condByName(name string) *cond {
	for i := range conditions {
		if conditions[i].name == name {
			return &conditions[i]
		}
	}
	panic(name)
}

func dialectByName(name string) *dialect {
	for _, d := range dialects {
		if d.name == name {
			return d
		}
	}
	panic(name)
}

// setting draws dialect, condition and profile for a try.
func setting(r *chance.Stream, conds, dials []string) (*dialect, *cond, profile) {
	d, c := chance.Pick(r, dialects), &conditions[r.IntN(len(conditions))]
	if len(dials) > 0 {
		d = dialectByName(chance.Pick(r, dials))
	}
	if len(conds) > 0 {
		c = condByName(chance.Pick(r, conds))
	}
	pf := profile{complete: r.Chance(.7) && (!d.noText || c.wordless())}
	return d, c, pf
}

// Slips makes n pairs, cycling through all kinds. Each slip is detectable from
// the record: at least one relation or limit is exceeded by slipMin times its
// tolerance, while the twin stays below cleanMax of every one.
func Slips(seed uint64, n int) []Pair {
	var out []Pair
	for i := range n {
		out = append(out, slipPair(seed, i, &slipKinds[i%len(slipKinds)]))
	}
	return out
}

func slipPair(seed uint64, i int, k *slipKind) Pair {
	for try := 0; try < 1500; try++ {
		r := chance.New(seed, "slip", fmt.Sprint(i), fmt.Sprint(try), k.name)
		d, c, pf := setting(r, k.conds, k.dials)
		if k.prep != nil {
			k.prep(&pf, r)
		}
		s := r.Uint64()
		clean := newReport(s, d, c, pf)
		if len(worst(clean.violations(), cleanMax)) > 0 {
			continue
		}
		bad := newReport(s, d, c, pf)
		keys := k.apply(bad, r)
		if len(keys) == 0 {
			continue
		}
		vs := worst(bad.violations(), slipMin)
		refs := diff(clean, bad, keys)
		if len(vs) == 0 || len(refs) == 0 || refs[0].Follows {
			continue
		}
		p := Pair{clean.study("twin"), bad.study("slip")}
		p.Slipped.Truth = &Truth{Kind: k.name, Slip: true, Cause: k.cause, Altered: refs,
			Text: k.text, DetectableWhy: why(vs)}
		return p
	}
	panic("no place for slip " + k.name)
}
