package world

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"echotally/internal/world/chance"
)

// slipKind is one kind of single slip. apply alters the report (a fresh copy
// of the clean one) and names the culprit keys; it returns nil when the
// report offers no place for it.
type slipKind struct {
	name, cause, text string
	conds             []string                       // conditions that offer it; empty: any
	dials             []string                       // dialects that offer it; empty: any
	prep              func(*profile, *chance.Stream) // what both twins need beforehand
	apply             func(rp *report, r *chance.Stream) []string
}

// mainItem is the written number a reader takes for a key: the selected,
// mean or single value of the leading window; with beats only, the second.
func (rp *report) mainItem(key string) *item {
	var best *item
	for _, w := range itemWindows(rp.items, key) {
		var it *item
		for _, role := range []string{"best", "recent", "mean", "value", "beat"} {
			for _, x := range rp.items {
				if x.key == key && x.win == w && x.role == role && it == nil {
					it = x
				}
			}
		}
		if it == nil {
			continue
		}
		if v, ok := it.canon(); ok {
			if best == nil {
				best = it
				continue
			}
			if b, _ := best.canon(); math.Abs(v) > math.Abs(b) {
				best = it
			}
		}
	}
	return best
}

// all returns every written item of a key except copies.
func (rp *report) all(key string) []*item {
	var out []*item
	for _, it := range rp.items {
		if it.key == key && it.role != "copy" && it.text != "" {
			out = append(out, it)
		}
	}
	return out
}

// syncCopies: what is wrong on the scanner is retyped wrong.
func (rp *report) syncCopies() {
	for _, it := range rp.items {
		if it.role == "copy" {
			if v, ok := primary(rp.items, it.key); ok && it.df.key == it.key {
				it.write(v)
			}
		}
	}
}

// setText writes a raw text into the main item of a key.
func (rp *report) setText(key, text string) []string {
	it := rp.mainItem(key)
	if it == nil || it.text == text {
		return nil
	}
	it.text = text
	if f, ok := it.canon(); ok {
		it.v = f
	}
	rp.syncCopies()
	return []string{key}
}

// swap exchanges the written values of two keys item by item.
func (rp *report) swap(a, b string) []string {
	xs, ys := rp.all(a), rp.all(b)
	if len(xs) == 0 || len(ys) == 0 {
		return nil
	}
	va := make([]float64, len(xs))
	for i, it := range xs {
		va[i] = it.v
	}
	vb := make([]float64, len(ys))
	for i, it := range ys {
		vb[i] = it.v
	}
	for i, it := range xs {
		it.write(vb[min(i, len(vb)-1)])
	}
	for i, it := range ys {
		it.write(va[min(i, len(va)-1)])
	}
	rp.syncCopies()
	return []string{a, b}
}

// factor draws a misreading far outside scatter that no simple cause gives.
func factor(r *chance.Stream) float64 {
	if r.Chance(.5) {
		return r.In(.70, .82)
	}
	return r.In(1.22, 1.38)
}

// rawScale mis-measures a key before the scanner computes.
func rawScale(key string, f func(*chance.Stream) float64) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		if len(rp.raw[key]) == 0 {
			return nil
		}
		x := f(r)
		for i := range rp.raw[key] {
			rp.raw[key][i].v *= x
		}
		rp.again()
		return []string{key}
	}
}

// plain types a wrong number without any cause into the main item.
func plain(key string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		it := rp.mainItem(key)
		if it == nil {
			return nil
		}
		it.write(it.v * factor(r))
		rp.syncCopies()
		return []string{key}
	}
}

// forced makes the scanner compute a wrong result; what depends on it follows.
func forced(key string, f func(v float64, val map[string]float64) float64) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		if !hasItem(rp.items, key) {
			return nil
		}
		rp.h.force = map[string]func(float64, map[string]float64) float64{key: f}
		rp.again()
		return []string{key}
	}
}

// oldResult keeps results computed before an input was corrected: the input
// stands right, the results belong to its older value.
func oldResult(input string, keep ...string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		if len(rp.raw[input]) == 0 || !hasItem(rp.items, input) {
			return nil
		}
		x := rp.pf.oldF
		if x == 0 {
			return nil
		}
		before := rp.raw.clone()
		for i := range before[input] {
			before[input][i].v *= x
		}
		old := derive(rp.h, rp.d, before, rp.workBSA())
		force := map[string]func(float64, map[string]float64) float64{}
		var out []string
		for _, k := range keep {
			if v, ok := old[k]; ok && hasItem(rp.items, k) {
				force[k] = func(float64, map[string]float64) float64 { return v }
				out = append(out, k)
			}
		}
		rp.h.force = force
		rp.again()
		return out
	}
}

// digits of a written number without sign and point.
func transpose(s string) string {
	b := []byte(s)
	for i := 0; i+1 < len(b); i++ {
		if b[i] >= '0' && b[i] <= '9' && b[i+1] >= '0' && b[i+1] <= '9' && b[i] != b[i+1] && !(i == 0 && b[i+1] == '0') {
			b[i], b[i+1] = b[i+1], b[i]
			return string(b)
		}
	}
	return s
}

func dropDigit(s string, i int) string {
	if i >= len(s) || len(s) < 3 || s[i] == '.' || s[i] == '-' {
		return s
	}
	t := s[:i] + s[i+1:]
	if strings.HasPrefix(t, ".") || strings.HasPrefix(t, "0") && !strings.HasPrefix(t, "0.") {
		return s
	}
	return t
}

// anyOf tries the keys in a drawn order with the same slip.
func anyOf(keys []string, f func(key string) func(*report, *chance.Stream) []string) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		for _, i := range r.Perm(len(keys)) {
			if hasItem(rp.items, keys[i]) {
				return f(keys[i])(rp, r)
			}
		}
		return nil
	}
}

// typed changes the text of the main item.
func typed(f func(s string, r *chance.Stream) string) func(key string) func(*report, *chance.Stream) []string {
	return func(key string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			it := rp.mainItem(key)
			if it == nil {
				return nil
			}
			s := f(it.text, r)
			if s == it.text || len(s) > 16 {
				return nil
			}
			return rp.setText(key, s)
		}
	}
}

func times(k float64) func(key string) func(*report, *chance.Stream) []string {
	return func(key string) func(*report, *chance.Stream) []string {
		return func(rp *report, r *chance.Stream) []string {
			it := rp.mainItem(key)
			if it == nil {
				return nil
			}
			dec := it.dec
			f, err := strconv.ParseFloat(it.text, 64)
			if err != nil {
				return nil
			}
			if dec >= 0 && k < 1 {
				dec += int(math.Round(-math.Log10(k)))
			}
			return rp.setText(key, ds(f*k, dec))
		}
	}
}

// relabel keeps the number and writes another unit of the same dimension.
func relabel(key string, to unit) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		its := rp.all(key)
		for _, it := range its {
			if it.u.code == to.code {
				return nil
			}
			it.u = to
			if v, ok := it.canon(); ok {
				it.v = v
			}
		}
		if len(its) == 0 {
			return nil
		}
		rp.syncCopies()
		return []string{key}
	}
}

func why(vs []viol) string {
	var ids []string
	seen := map[string]bool{}
	for _, v := range vs {
		if !seen[v.id] {
			seen[v.id] = true
			ids = append(ids, v.id)
		}
	}
	return fmt.Sprint(strings.Join(ids, ","))
}
