package audit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/kappa"
	"echotally/internal/table"
)

// enoughForKappa is the least number of studies for a kappa: with fewer it is
// noise, and only the counts are told (site choice).
const enoughForKappa = 30

// gradeAgreement is how far two reports of a study grade alike.
func (r *builder) gradeAgreement() table.Table {
	t := table.Table{
		Identifier: "grade-agreement", Title: "Agreement in grades",
		Columns: []table.Column{
			table.NewColumn("compared", "Compared", table.Words, "two observers, one observer: two reports of one study; two reports: the same, and whether by one or two observers is not told"),
			table.NewColumn("lesion", "Lesion", table.Words, "what is graded"), table.NewColumn("studies", "Studies", table.Count, "studies in which both reports grade it, one pair each"),
			table.NewColumn("same", "Same grade", table.Share, "studies in which both give the same grade"), table.NewColumn("within_one", "Within one step", table.Share, "studies in which they are at most one step of the ladder apart"),
			table.NewColumn("kappa", "Kappa", table.Estimate, "Cohen's kappa, with its interval"), table.NewColumn("weighted", "Weighted kappa", table.Estimate, "kappa with quadratic weights, with its interval"),
			table.NewColumn("adjusted", "Adjusted", table.Number, "kappa adjusted for prevalence and bias: what it were if all grades in use were equally common"),
			table.NewColumn("grades", "First to second", table.Words, "counts by grade of the earlier and the later report"),
		},
	}
	type key struct {
		compared counted.Compared
		lesion   string
	}
	by := map[key][]counted.GradePair{}
	for _, s := range r.now {
		for _, g := range s.Grades {
			by[key{g.Compared, g.Lesion}] = append(by[key{g.Compared, g.Lesion}], g)
		}
	}
	var keys []key
	kappas := 0
	for k, pairs := range by {
		keys = append(keys, k)
		if len(pairs) >= enoughForKappa {
			kappas += 2
		}
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(cmp.Compare(rankOf(a.compared), rankOf(b.compared)), cmp.Compare(len(by[b]), len(by[a])), strings.Compare(a.lesion, b.lesion))
	})
	together := stats.Simultaneous(table.Confidence, kappas)
	for _, k := range keys {
		t.Add(gradeRow(k.compared, k.lesion, by[k], together, r.opt.Scales.Grades)...)
	}
	t.Note = fmt.Sprintf("Two reports of one study, a pair for each lesion; absent, trivial, mild, moderate and severe are steps, and so is what lies between two of them. Kappa: Cohen 1960, weighted with the squares of the steps 1968, intervals after Fleiss, Cohen and Everitt 1969, of all rows together 95 %% (Bonferroni). Kappa falls where one grade is common, hence the share of the same grade and the adjusted value beside it. From %d studies on; of fewer the counts only. Whoever reads second mostly knows the first report, which makes agreement look better than it is.", enoughForKappa)
	return t
}

func gradeRow(compared counted.Compared, lesion string, pairs []counted.GradePair, confidence float64, ladder []string) []table.Cell {
	var used []int
	same, near := 0, 0
	for _, g := range pairs {
		used = append(used, g.First, g.Second)
		if g.First == g.Second {
			same++
		}
		if d := g.First - g.Second; d >= -1 && d <= 1 {
			near++
		}
	}
	slices.Sort(used)
	used = slices.Compact(used)
	// All steps between count for the weights, whether or not they occur.
	low, high := used[0], used[len(used)-1]
	full := square(high - low + 1)
	tight := square(len(used))
	counts := map[[2]int]int{}
	for _, g := range pairs {
		full[g.First-low][g.Second-low]++
		tight[slices.Index(used, g.First)][slices.Index(used, g.Second)]++
		counts[[2]int{g.First, g.Second}]++
	}
	nominal, weighted, adjusted := table.NoCell(), table.NoCell(), table.NoCell()
	if len(pairs) >= enoughForKappa && len(used) > 1 {
		plain, squares := kappa.NewKappa(tight, kappa.Nominal, confidence), kappa.NewKappa(full, kappa.Quadratic, confidence)
		adjusted = table.NumberCell(plain.Adjusted)
		if !math.IsNaN(plain.Value) {
			nominal, weighted = table.EstimateCell(plain.Value, plain.Interval), table.EstimateCell(squares.Value, squares.Interval)
		}
	}
	return []table.Cell{table.TextCell(string(compared)), table.TextCell(table.InWords(lesion)), table.CountCell(len(pairs)), table.ProportionCell(same, len(pairs)), table.ProportionCell(near, len(pairs)),
		nominal, weighted, adjusted, table.TextCell(crossed(counts, ladder))}
}

func square(n int) [][]int {
	out := make([][]int, n)
	for i := range out {
		out[i] = make([]int, n)
	}
	return out
}

// crossed writes the table of two grades in a line, the most common first.
func crossed(counts map[[2]int]int, ladder []string) string {
	keys := make([][2]int, 0, len(counts))
	for k := range counts {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b [2]int) int {
		return cmp.Or(cmp.Compare(counts[b], counts[a]), cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]))
	})
	var out []string
	for _, k := range keys {
		name := func(i int) string {
			if i >= len(ladder) { // of rules with a longer ladder
				return fmt.Sprint("step ", i+1)
			}
			return strings.ReplaceAll(ladder[i], "-", " ")
		}
		if k[0] == k[1] {
			out = append(out, fmt.Sprintf("both %s %d", name(k[0]), counts[k]))
		} else {
			out = append(out, fmt.Sprintf("%s to %s %d", name(k[0]), name(k[1]), counts[k]))
		}
	}
	return strings.Join(out, ", ")
}
