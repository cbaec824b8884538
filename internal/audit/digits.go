package audit

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/heaping"
	"echotally/internal/table"
)

// DigitsOf is the end digits of one measurand, of one person and of the others.
type DigitsOf struct {
	Title  string
	Counts [10]int
	Others [10]int
}

// enoughValues is the least number of values of a measurand for a row (site
// choice).
const enoughValues = 50

// digits are the values of one measurand that can tell of rounding.
type digits struct {
	*counted.Quantity
	grids  map[string]float64 // by scanner: the steps on which it stores values, in reading steps
	counts map[int]int        // by value in steps, of the scanners that store the step itself
	coarse int                // values of scanners that store coarser steps than are read
	heap   heaping.Heap
}

// tells reports whether values of a scanner tell of rounding: one that stores coarser
// steps than are read gives no digit that anybody chose.
func (d *digits) tells(device string) bool { return d.grids[device] == 1 }

// end is the value in reading steps and its last digit.
func (d *digits) end(x float64) (at, digit int) {
	at = int(math.Round(x / d.Step))
	return at, max(at, -at) % 10
}

// digitsOf gathers the values of the period by measurand, and finds the steps on
// which each scanner stores them: those of a scanner are no rounding by hand. Of
// values that all lie on a coarser step, both is possible.
func (r *builder) digitsOf() map[string]*digits {
	type stored struct {
		*counted.Quantity
		values []float64
	}
	devices := map[string]*byQuantity[stored]{}
	for _, s := range r.now {
		device := s.Device.Version()
		if devices[device] == nil {
			devices[device] = newByQuantity[stored]()
		}
		known := devices[device]
		for q, values := range s.Series() {
			if q.Step == 0 { // computed, and kept for its cut-offs only
				continue
			}
			one := known.of(q, func(q *counted.Quantity) stored { return stored{Quantity: q} })
			for _, v := range values {
				one.values = append(one.values, v.X)
			}
		}
	}
	out := map[string]*digits{}
	for device, known := range devices {
		for name, one := range known.named {
			d := out[name]
			if d == nil {
				d = &digits{Quantity: one.Quantity, grids: map[string]float64{}, counts: map[int]int{}}
				out[name] = d
			}
			d.add(device, one.values)
		}
	}
	for _, d := range out {
		d.heap = heaping.Heaping(d.counts)
	}
	return out
}

// add counts the values of a scanner.
func (d *digits) add(device string, values []float64) {
	if d.grids[device] = heaping.Grid(values, d.Step); !d.tells(device) {
		d.coarse += len(values)
		return
	}
	for _, x := range values {
		at, _ := d.end(x)
		d.counts[at]++
	}
}

// endDigits tells over the lab whether values heap on round numbers, and tests
// each sonographer against the others.
func (r *builder) endDigits() table.Table {
	t := table.Table{
		Identifier: "end-digits", Title: "End digits",
		Note: "Values on a multiple of five reading steps (1 mm, 0.01 m/s, 1 ms, 1 %, 1 mmHg, 1 mL), against what their neighbours one and two steps off tell: a slope or a narrow hill is no heap. Values of scanners that store coarser steps are left out, since nobody chose the digit. Heaps at a false discovery rate as that of the report.",
		Columns: []table.Column{
			table.MachineColumn("measurand", "Identifier", table.Words, "identifier of the measurand"), table.NewColumn("title", "Measurement", table.Words, "title of the measurand"), table.NewColumn("values", "Values", table.Count, "values of the period that can tell"),
			table.NewColumn("rounded", "On 0 or 5", table.Share, "values that lie on a multiple of five steps"), table.MachineColumn("chi_square", "Chi-square", table.Number, "against evenly spread digits, 9 degrees of freedom; large also for a narrow range without any rounding"),
			table.NewColumn("p_value", "p", table.Number, "that as many or more lie there as the neighbours tell, one-sided"),
			table.NewColumn("step", "Step", table.Words, "least step at which it is read"),
			table.NewColumn("expected", "By neighbours, %", table.Number, "share on a multiple of five steps that the neighbours tell"),
			table.NewColumn("stored_coarser", "Stored coarser", table.Count, "values left out, of scanners that store steps of more than one reading step"),
			table.NewColumn("verdict", "Verdict", table.Words, "heap, no heap, or why it cannot be told"),
		},
		PlainMeans: "with no more on round numbers than the neighbours tell, or where it cannot be told",
	}
	all := r.digits
	names := slices.Sorted(maps.Keys(all))
	names = slices.DeleteFunc(names, func(n string) bool { return all[n].heap.Total+all[n].coarse < enoughValues })
	p := make([]float64, len(names))
	for i, name := range names {
		p[i] = all[name].heap.PValue
		if all[name].heap.Total < enoughValues {
			p[i] = 1
		}
	}
	heaps, _ := stats.Discoveries(p, r.opt.Discovery)
	for i, name := range names {
		d := all[name]
		var ends [10]int
		for at, n := range d.counts {
			ends[max(at, -at)%10] += n
		}
		expected, chi := table.NoCell(), table.NoCell()
		if d.heap.Told {
			expected = table.NumberCell(100 * d.heap.Expected / float64(d.heap.Total))
		}
		if d.heap.Total > 0 {
			chi = table.NumberCell(heaping.EndDigits(ends).ChiSquare)
		}
		t.AddPlainIf(!heaps[i], table.TextCell(name), table.TextCell(d.Title), table.CountCell(d.heap.Total), table.ProportionCell(ends[0]+ends[5], d.heap.Total), chi, table.NumberCell(p[i]),
			table.TextCell(numberWord(d.Step)+" "+d.Unit), expected, table.CountCell(d.coarse), table.TextCell(d.verdict(heaps[i])))
	}
	r.roundingPeople(all)
	return t
}

func numberWord(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

func (d *digits) verdict(heap bool) string {
	switch {
	case d.heap.Total < enoughValues:
		return "cannot tell: stored in steps coarser than are read"
	case !d.heap.Told:
		return "cannot tell: the range is too narrow"
	case heap:
		return "heap"
	}
	return "no heap"
}

// roundingPeople tests, per measurand, whether a sonographer's values end in 0
// or 5 more often than those of the others on scanners that store the step. In a
// narrow range the digit is the patient's, not the person's.
func (r *builder) roundingPeople(all map[string]*digits) {
	staff := r.staff(roles()[0])
	if len(staff) < r.opt.People {
		return
	}
	ends := endsOf(staff, all)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		if !all[name].heap.Told {
			continue
		}
		points := make([]stats.Proportion, len(staff))
		for i := range staff {
			for digit, n := range ends[name][i] {
				points[i].Total += n
				if digit%5 == 0 {
					points[i].Count += n
				}
			}
		}
		r.roundingIn(all[name], staff, points, ends[name])
	}
}

// endsOf counts, by measurand, the last digits of each person's values.
func endsOf(staff []person, all map[string]*digits) map[string][][10]int {
	out := make(map[string][][10]int, len(all))
	for name := range all {
		out[name] = make([][10]int, len(staff))
	}
	type ended struct {
		*digits
		by [][10]int
	}
	known := newByQuantity[ended]()
	for i, p := range staff {
		for _, s := range p.studies {
			device := s.Device.Version()
			for q, values := range s.Series() {
				one := known.of(q, func(q *counted.Quantity) ended { return ended{all[q.Measurand], out[q.Measurand]} })
				if one.digits == nil || !one.tells(device) {
					continue
				}
				for _, v := range values {
					_, digit := one.end(v.X)
					one.by[i][digit]++
				}
			}
		}
	}
	return out
}

func (r *builder) roundingIn(d *digits, staff []person, points []stats.Proportion, ends [][10]int) {
	aside, p := against(points)
	for i, own := range points {
		rest := restOf(points, aside, i)
		if own.Total < r.opt.Floor || rest.Total < enoughValues {
			continue
		}
		pv := p[i]
		if own.Value() <= rest.Value() {
			pv = 1 // rounding less than others is no finding
		}
		r.test(pv, Signal{
			Kind: OfDigits, Measure: d.Measurand, Where: staff[i].label, From: rest, To: own, Person: staff[i].pseudonym, Title: d.Title,
			Text: fmt.Sprintf("%s: %s of the values of %s end in 0 or 5, of the others' %s", d.Title, table.Percent(own), staff[i].label, table.Percent(rest)),
		})
		if !aside[i] {
			continue
		}
		of := DigitsOf{Title: staff[i].label + ", " + lower(d.Title), Counts: ends[i]}
		for k := range ends {
			for digit, n := range ends[k] {
				if k != i && !aside[k] {
					of.Others[digit] += n
				}
			}
		}
		r.report.Digits = append(r.report.Digits, of)
	}
}

// lower makes a title stand within a line, unless it begins with an
// abbreviation.
func lower(s string) string {
	if len(s) < 2 || s[1] < 'a' || s[1] > 'z' {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

func (r *builder) pileUps() table.Table {
	t := table.Table{
		Identifier: "thresholds", Title: "Heaping at thresholds", Note: "Values just below and just above a cut-off. A slope alone is no heap: the jump at the cut-off is held against the slope between the next windows out, on the logarithm of the counts, where all four windows hold at least five.",
		Columns: []table.Column{
			table.NewColumn("threshold", "Threshold", table.Words, "cut-off"), table.NewColumn("below", "Just below", table.Count, "values in the window below"), table.NewColumn("above", "Just above", table.Count, "values at the cut-off and in the window above"),
			table.MachineColumn("p_even", "p, as many below as above", table.Number, "two-sided exact binomial"), table.NewColumn("p_jump", "p, beyond a slope", table.Number, "normal approximation of the contrast of log counts"),
		},
	}
	beside := r.besideCutOffs()
	for i, one := range r.opt.Scales.CutOffs {
		n := beside[i]
		if n[1]+n[2] == 0 {
			continue
		}
		p := jump(n)
		t.Add(table.TextCell(one.Title), table.CountCell(n[1]), table.CountCell(n[2]), table.NumberCell(heaping.PileUp(n[1], n[2])), table.NumberCell(p))
		if !math.IsNaN(p) {
			r.test(p, Signal{Kind: OfThreshold, Measure: one.Measurand, Where: one.Title,
				Text: fmt.Sprintf("%s: %d values just below, %d just above", one.Title, n[1], n[2])})
		}
	}
	return t
}

// besideCutOffs counts for each cut-off the values in two windows below and two above.
func (r *builder) besideCutOffs() [][4]int {
	out := make([][4]int, len(r.opt.Scales.CutOffs))
	of := map[string][]int{} // their places
	for i, one := range r.opt.Scales.CutOffs {
		of[one.Measurand] = append(of[one.Measurand], i)
	}
	known := newByQuantity[[]int]()
	for _, s := range r.now {
		for q, values := range s.Series() {
			for _, i := range *known.of(q, func(q *counted.Quantity) []int { return of[q.Measurand] }) {
				one := &r.opt.Scales.CutOffs[i]
				for _, v := range values {
					k := int(math.Floor((v.X-one.Value)/one.Within+1e-9)) + 2
					if k >= 0 && k < 4 {
						out[i][k]++
					}
				}
			}
		}
	}
	return out
}

// jump tests log(n2/n1) − log(n3/n0)/3 = 0 for counts of four adjoining windows
// of equal width: on a log-linear density the inner step is a third of the outer
// one, and the variance of a log count is its reciprocal.
func jump(n [4]int) float64 {
	if slices.Min(n[:]) < 5 {
		return math.NaN()
	}
	var l [4]float64
	for i, c := range n {
		l[i] = math.Log(float64(c))
	}
	contrast := l[2] - l[1] - (l[3]-l[0])/3
	variance := 1/float64(n[1]) + 1/float64(n[2]) + (1/float64(n[0])+1/float64(n[3]))/9
	return math.Erfc(math.Abs(contrast) / math.Sqrt(2*variance))
}

// repeats tells how far repeated beats lie apart.
func (r *builder) repeats() table.Table {
	t := table.Table{
		Identifier: "repeats", Title: "Repeated readings", Note: "Within-study coefficient of variation (root mean square) of readings repeated with the same view, phase and method. It holds the patient's own variation from beat to beat.",
		Columns: []table.Column{
			table.NewColumn("measurand", "Measurement", table.Words, "title of the measurand"), table.NewColumn("studies", "Studies", table.Count, "studies with repeated readings"),
			table.NewColumn("cv", "CV, %", table.Number, "root mean square coefficient of variation"),
			table.NewColumn("widest", "Widest range, %", table.Number, "largest range in one study, per cent of its mean"),
		},
	}
	type repeated struct {
		title   string
		groups  [][]float64
		studies int
		last    *counted.Study
	}
	by := newByQuantity[repeated]()
	for _, s := range r.now {
		for _, one := range s.Spreads {
			of := by.of(one.Quantity, func(q *counted.Quantity) repeated { return repeated{title: q.Title} })
			of.groups = append(of.groups, one.Readings)
			if of.last != s {
				of.last = s
				of.studies++
			}
		}
	}
	names := slices.Sorted(maps.Keys(by.named))
	sort.SliceStable(names, func(i, j int) bool { return by.named[names[i]].studies > by.named[names[j]].studies })
	for _, name := range names {
		of, widest := by.named[name], 0.0
		for _, g := range of.groups {
			mean := 0.0
			for _, x := range g {
				mean += x / float64(len(g))
			}
			if mean != 0 {
				widest = max(widest, 100*(slices.Max(g)-slices.Min(g))/math.Abs(mean))
			}
		}
		t.Add(table.TextCell(of.title), table.CountCell(of.studies), table.NumberCell(100*stats.WithinSubjectCV(of.groups)), table.NumberCell(widest))
	}
	return t
}
