package audit

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"echotally/internal/stats"
)

// lastDigit is the digit of the least step at which a value is read.
func (v Value) lastDigit() int {
	d := int(math.Round(math.Abs(v.X)/v.Step)) % 10
	return d
}

// DigitsOf is the end digits of one measurand, over the lab or of one person.
type DigitsOf struct {
	Title string
	Test  stats.Digits
}

// enoughValues is the least number of values of a measurand for a row (site
// choice).
const enoughValues = 50

// endDigits counts last digits over the lab and tests each sonographer against
// the others.
func (r *builder) endDigits() Table {
	t := Table{
		Identifier: "end-digits", Title: "End digits", Note: "The digit of the least step at which the quantity is read (1 mm, 0.01 m/s, 1 ms, 1 %, 1 mmHg, 1 mL). Chi-square with 9 degrees of freedom against evenly spread digits: a narrow range is not even either, so persons are compared with the others, not with one in ten.",
		Columns: []Column{
			column("measurand", "Measurement", Words, "identifier of the measurand"), column("values", "Values", Count, "values of the period"),
			column("rounded", "Ending in 0 or 5", Share, "values whose last digit is 0 or 5"), column("chi_square", "Chi-square", Number, "against evenly spread digits"),
			column("p_value", "p", Number, "of the chi-square"),
		},
		PlainMeans: "with digits as even as chance leaves them, or no more often 0 or 5",
	}
	counts := map[string]*[10]int{}
	for _, s := range r.now {
		for _, v := range s.Values {
			if counts[v.Measurand] == nil {
				counts[v.Measurand] = new([10]int)
			}
			counts[v.Measurand][v.lastDigit()]++
		}
	}
	for _, name := range sortedNames(counts) {
		d := stats.EndDigits(*counts[name])
		if d.Total >= enoughValues {
			ends := stats.Proportion{Count: d.Counts[0] + d.Counts[5], Total: d.Total}
			t.addPlain(d.PValue >= 1-Confidence || ends.Wilson(Confidence).Low <= 0.2, words(name), count(d.Total), share(ends), number(d.ChiSquare), number(d.PValue))
		}
	}
	r.roundingPeople()
	return t
}

// roundingPeople tests, per measurand, whether a sonographer's values end in 0
// or 5 more often than those of the others.
func (r *builder) roundingPeople() {
	staff := r.staff(roles()[0])
	if len(staff) < r.opt.People {
		return
	}
	rounded := map[string][]stats.Proportion{} // by measurand, one per person
	digits, titles := map[string][][10]int{}, map[string]string{}
	for i, p := range staff {
		for _, s := range p.studies {
			for _, v := range s.Values {
				if rounded[v.Measurand] == nil {
					rounded[v.Measurand], digits[v.Measurand] = make([]stats.Proportion, len(staff)), make([][10]int, len(staff))
				}
				titles[v.Measurand] = v.Title
				d := v.lastDigit()
				digits[v.Measurand][i][d]++
				rounded[v.Measurand][i].Total++
				if d%5 == 0 {
					rounded[v.Measurand][i].Count++
				}
			}
		}
	}
	for _, name := range sortedNames(rounded) {
		points := rounded[name]
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
				Kind: OfDigits, Measure: name, Where: staff[i].label, From: rest, To: own,
				Text: fmt.Sprintf("%s: %s of the values of %s end in 0 or 5, of the others' %s", name, Percent(own), staff[i].label, Percent(rest)),
			})
			if aside[i] {
				r.report.Digits = append(r.report.Digits, DigitsOf{staff[i].label + ", " + lower(titles[name]), stats.EndDigits(digits[name][i])})
			}
		}
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

// threshold is a cut-off at which values may heap.
type threshold struct {
	measurand string
	title     string
	at, width float64 // in the measurand's unit
}

// thresholds are cut-offs on which a diagnosis or a treatment turns (site
// choice; the cut-offs are those of the guidelines the rules cite).
var thresholds = []threshold{
	{"left-ventricular-ejection-fraction-biplane", "Ejection fraction 50 %", 50, 3},
	{"left-ventricular-ejection-fraction-biplane", "Ejection fraction 35 %", 35, 3},
	{"aortic-valve-area-continuity", "Aortic valve area 1.0 cm²", 1.0, 0.1},
	{"aortic-valve-peak-velocity", "Aortic jet 4.0 m/s", 4.0, 0.2},
	{"tricuspid-regurgitation-peak-velocity", "Tricuspid jet 2.8 m/s", 2.8, 0.1},
	{"left-ventricular-internal-diameter-diastole", "Left ventricle 5.8 cm", 5.8, 0.2},
}

func (r *builder) pileUps() Table {
	t := Table{
		Identifier: "thresholds", Title: "Heaping at thresholds", Note: "Values just below and just above a cut-off. The exact binomial asks for as many below as above; the contrast allows for a slope: the jump at the cut-off against the slope between the next windows out, on the logarithm of the counts, and is tested where all four windows hold at least five.",
		Columns: []Column{
			column("threshold", "Threshold", Words, "cut-off"), column("below", "Just below", Count, "values in the window below"), column("above", "Just above", Count, "values at the cut-off and in the window above"),
			column("p_even", "p, as many below as above", Number, "two-sided exact binomial"), column("p_jump", "p, beyond a slope", Number, "normal approximation of the contrast of log counts"),
		},
	}
	for _, one := range thresholds {
		var n [4]int
		for _, s := range r.now {
			for _, x := range s.each(one.measurand) {
				k := int(math.Floor((x-one.at)/one.width+1e-9)) + 2
				if k >= 0 && k < 4 {
					n[k]++
				}
			}
		}
		if n[1]+n[2] == 0 {
			continue
		}
		p := jump(n)
		t.add(words(one.title), count(n[1]), count(n[2]), number(stats.PileUp(n[1], n[2])), number(p))
		if !math.IsNaN(p) {
			r.test(p, Signal{Kind: OfThreshold, Measure: one.measurand, Where: one.title,
				Text: fmt.Sprintf("%s: %d values just below, %d just above", one.title, n[1], n[2])})
		}
	}
	return t
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

// each gives the values of a measurand in the study.
func (s *Study) each(measurand string) []float64 {
	var out []float64
	for _, v := range s.Values {
		if v.Measurand == measurand {
			out = append(out, v.X)
		}
	}
	return out
}

// repeats tells how far repeated beats lie apart.
func (r *builder) repeats() Table {
	t := Table{
		Identifier: "repeats", Title: "Repeated readings", Note: "Within-study coefficient of variation (root mean square) of readings repeated with the same view, phase and method. It holds the patient's own variation from beat to beat.",
		Columns: []Column{
			column("measurand", "Measurement", Words, "title of the measurand"), column("studies", "Studies", Count, "studies with repeated readings"),
			column("cv", "CV, %", Number, "root mean square coefficient of variation"),
			column("widest", "Widest range, %", Number, "largest range in one study, per cent of its mean"),
		},
	}
	groups, titles, studies := map[string][][]float64{}, map[string]string{}, map[string]int{}
	for _, s := range r.now {
		has := map[string]bool{}
		for _, one := range s.Spreads {
			groups[one.Measurand] = append(groups[one.Measurand], one.Readings)
			titles[one.Measurand] = one.Title
			if !has[one.Measurand] {
				has[one.Measurand] = true
				studies[one.Measurand]++
			}
		}
	}
	names := sortedNames(groups)
	sort.SliceStable(names, func(i, j int) bool { return studies[names[i]] > studies[names[j]] })
	for _, name := range names {
		widest := 0.0
		for _, g := range groups[name] {
			mean := 0.0
			for _, x := range g {
				mean += x / float64(len(g))
			}
			if mean != 0 {
				widest = max(widest, 100*(slices.Max(g)-slices.Min(g))/math.Abs(mean))
			}
		}
		t.add(words(titles[name]), count(studies[name]), number(100*stats.WithinSubjectCV(groups[name])), number(widest))
	}
	return t
}
