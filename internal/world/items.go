package world

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"echotally/internal/world/chance"
)

// item is one number as the report shows it.
type item struct {
	id   string // key|window|role|number: stable between twins
	key  string
	win  string
	role string // beat, mean, best, value, old, recent, empty
	n    int    // beats behind a mean, number of a beat
	df   *def
	v    float64 // canonical, unrounded
	text string  // the DS as written
	u    unit
	dec  int             // decimals written; -1 machine digits
	drop map[string]bool // modifiers left out (a gap)
	qual *Code           // numeric value qualifier
}

// canon reads the written text back into the canonical unit.
func (it *item) canon() (float64, bool) {
	f, err := strconv.ParseFloat(it.text, 64)
	if err != nil {
		return 0, false
	}
	return f / it.u.factor, true
}

// step is the size of the last written digit in the canonical unit.
func (it *item) step() float64 {
	if it.dec < 0 {
		return 0
	}
	return math.Pow10(-it.dec) / it.u.factor
}

// write sets the text from a canonical value in the item's unit and digits.
func (it *item) write(v float64) {
	it.v = v
	it.text = ds(v*it.u.factor, it.dec)
}

// ds formats a decimal string of at most 16 characters (VR DS).
func ds(x float64, dec int) string {
	if dec >= 0 {
		return strconv.FormatFloat(x, 'f', dec, 64)
	}
	for p := 13; p > 2; p-- {
		s := strconv.FormatFloat(x, 'g', p, 64)
		if len(s) <= 16 {
			return s
		}
	}
	return strconv.FormatFloat(x, 'f', 2, 64)
}

// negative lists the jets some scanners write below the baseline.
var negative = map[string]bool{"ARv": true, "MRv": true, "TRv": true, "PRv": true, "PRed": true}

func (d *dialect) newItem(df *def, win, role string, n int, v float64) *item {
	u := d.units[df.kind]
	dec := max(df.dec+u.ddec, 0)
	switch d.prec {
	case "machine":
		dec = -1
	case "coarse":
		if dec > 1 && df.kind != kRatio && df.kind != kOrif && df.kind != kFine {
			dec--
		}
	}
	if df.kind == kLen && u.code == "mm" && d.prec == "std" {
		dec = 1
	}
	if d.negReg && negative[df.key] || d.absGLS && df.key == "GLS" {
		v = -v
	}
	it := &item{id: fmt.Sprintf("%s|%s|%s|%d", df.key, win, role, n), key: df.key, win: win,
		role: role, n: n, df: df, u: u, dec: dec}
	it.write(v)
	return it
}

// codable says whether a dialect has any way to name a key.
func (d *dialect) codable(df *def) bool {
	if d.privKeys[df.key] || d.layout == "simplified" {
		return true
	}
	if df.key == "RVD3" || df.key == "RAVi" { // by CID 12250/12304 property and site
		return true
	}
	return df.code != ""
}

// shows leaves out version keys a dialect does not send.
func (d *dialect) shows(key string) bool {
	switch key {
	case "LVIDdMM", "LVIDsMM":
		return d.mmode
	case "EDV3", "ESV3", "EF3":
		return d.three
	case "EDV4", "ESV4", "EF4", "EDV2", "ESV2":
		return d.single4
	case "LVOTpg":
		return d.full || d.mmode
	case "AVAv":
		return d.layout != "flat"
	}
	return true
}

// makeItems lays all readings and results of a study out as items.
func makeItems(d *dialect, raw rawSet, val map[string]float64, seed uint64) []*item {
	var out []*item
	for i := range catalogue {
		df := &catalogue[i]
		if !d.codable(df) || !d.shows(df.key) {
			continue
		}
		if rs := raw[df.key]; len(rs) > 0 {
			out = append(out, d.readingItems(df, rs, seed)...)
		} else if v, ok := val[df.key]; ok {
			out = append(out, d.newItem(df, "", "value", 1, v))
		}
	}
	return out
}

// readingItems follows the dialect's habit for repeated beats.
func (d *dialect) readingItems(df *def, rs []reading, seed uint64) []*item {
	var out []*item
	for _, w := range windowNames(rs) {
		var vs []float64
		for _, x := range rs {
			if x.win == w {
				vs = append(vs, x.v)
			}
		}
		out = append(out, d.windowItems(df, w, vs, seed)...)
	}
	return out
}

func (d *dialect) windowItems(df *def, w string, vs []float64, seed uint64) []*item {
	mean, n := 0.0, len(vs)
	for _, v := range vs {
		mean += v / float64(n)
	}
	if n == 1 {
		return []*item{d.newItem(df, w, "value", 1, vs[0])}
	}
	var out []*item
	beats := func() {
		for i, v := range vs {
			out = append(out, d.newItem(df, w, "beat", i+1, v))
		}
	}
	switch d.mode {
	case "mean", "windows":
		out = append(out, d.newItem(df, w, "mean", n, mean))
	case "both":
		beats()
		out = append(out, d.newItem(df, w, "mean", n, mean))
	case "beats":
		beats()
	case "best":
		beats()
		out[min(1, n-1)].role = "best"
	case "recent":
		r := chance.New(seed, "recent", df.key, w)
		if r.Chance(.3) { // the first reading stays beside the new one
			out = append(out, d.newItem(df, w, "old", 1, mean*r.In(.985, 1.015)))
			out = append(out, d.newItem(df, w, "recent", 1, mean))
			break
		}
		out = append(out, d.newItem(df, w, "mean", n, mean))
	default:
		out = append(out, d.newItem(df, w, "value", 1, vs[0]))
	}
	return out
}

// primary returns the item an informed reader takes for a key: the selected
// one, else the mean, else the value; beats only if nothing else. Of several
// windows the largest counts.
func primary(items []*item, key string) (float64, bool) {
	best, found := 0.0, false
	for _, w := range itemWindows(items, key) {
		v, ok := windowValue(items, key, w)
		if ok && (!found || math.Abs(v) > math.Abs(best)) {
			best, found = v, true
		}
	}
	return best, found
}

func itemWindows(items []*item, key string) []string {
	var out []string
	seen := map[string]bool{}
	for _, it := range items {
		if it.key == key && !seen[it.win] {
			seen[it.win] = true
			out = append(out, it.win)
		}
	}
	return out
}

func windowValue(items []*item, key, win string) (float64, bool) {
	sum, n := 0.0, 0
	var mean, val *item
	for _, it := range items {
		if it.key != key || it.win != win {
			continue
		}
		switch it.role {
		case "best", "recent":
			return it.canon()
		case "mean":
			mean = it
		case "value":
			val = it
		case "beat":
			if v, ok := it.canon(); ok {
				sum += v
				n++
			}
		}
	}
	switch {
	case mean != nil:
		return mean.canon()
	case val != nil:
		return val.canon()
	case n > 0:
		return sum / float64(n), true
	}
	return 0, false
}

func hasItem(items []*item, key string) bool {
	for _, it := range items {
		if it.key == key {
			return true
		}
	}
	return false
}

func trimKey(id string) string { return strings.SplitN(id, "|", 2)[0] }
