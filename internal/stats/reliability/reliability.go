package reliability

import (
	"math"

	"echotally/internal/stats"

	"gonum.org/v1/gonum/stat/distuv"
)

// Form is a form of the intraclass correlation, by model and by what is trusted:
// one reading or the mean of all (Shrout PE, Fleiss JL. Psychol Bull
// 1979;86:420-428).
type Form string

// Forms of the intraclass correlation.
const (
	OneWaySingle  Form = "1,1" // each subject was read by other readers
	RandomSingle  Form = "2,1" // readers stand for all readers: absolute agreement
	FixedSingle   Form = "3,1" // these readers only: consistency
	OneWayAverage Form = "1,k"
	RandomAverage Form = "2,k"
	FixedAverage  Form = "3,k"
)

// Forms are all six, single readings first.
func Forms() []Form {
	return []Form{OneWaySingle, RandomSingle, FixedSingle, OneWayAverage, RandomAverage, FixedAverage}
}

// Intraclass is how much of the variance of readings is between subjects.
type Intraclass struct {
	Subjects, Readers                               int
	BetweenSubjects, Within, BetweenReaders, Errors float64 // mean squares
	of                                              map[Form]Coefficient
}

// Coefficient is a correlation with its interval.
type Coefficient struct {
	Value float64
	stats.Interval
}

// Of gives one form.
func (i Intraclass) Of(f Form) Coefficient { return i.of[f] }

// NewIntraclass takes one row of readings per subject, one column per reader,
// without gaps; at least two of each. Where readings do not differ at all, or
// subjects do not, there is no interval (NaN), and no value where neither does.
// Intervals: Shrout and Fleiss 1979; those of
// averages follow by Spearman and Brown.
func NewIntraclass(readings [][]float64, confidence float64) Intraclass {
	n, k := float64(len(readings)), float64(len(readings[0]))
	out := Intraclass{Subjects: len(readings), Readers: len(readings[0])}
	out.meanSquares(readings)
	b, w, j, e := out.BetweenSubjects, out.Within, out.BetweenReaders, out.Errors
	quantile := func(d1, d2 float64) float64 {
		if !(d1 > 0 && d2 > 0) || math.IsInf(d2, 0) {
			return math.NaN()
		}
		return distuv.F{D1: d1, D2: d2}.Quantile(1 - (1-confidence)/2)
	}
	// By the ratio of mean squares: one-way and fixed.
	ratio := func(f, free float64) Coefficient {
		if math.IsInf(f, 1) {
			return Coefficient{1, stats.Interval{Low: math.NaN(), High: math.NaN()}}
		}
		low, high := f/quantile(n-1, free), f*quantile(free, n-1)
		return Coefficient{(f - 1) / (f + k - 1), stats.Interval{Low: (low - 1) / (low + k - 1), High: (high - 1) / (high + k - 1)}}
	}
	one, fixed := ratio(b/w, n*(k-1)), ratio(b/e, (n-1)*(k-1))
	r := (b - e) / (b + (k-1)*e + k*(j-e)/n)
	f := j / e
	rest := n*(1+(k-1)*r) - k*r
	free := (k - 1) * (n - 1) * math.Pow(k*r*f+rest, 2) / ((n-1)*k*k*r*r*f*f + rest*rest)
	above, below := quantile(n-1, free), quantile(free, n-1)
	random := Coefficient{r, stats.Interval{
		Low:  n * (b - above*e) / (above*(k*j+(k*n-k-n)*e) + n*b),
		High: n * (below*b - e) / (k*j + (k*n-k-n)*e + n*below*b),
	}}
	average := func(c Coefficient) Coefficient {
		of := func(x float64) float64 { return k * x / (1 + (k-1)*x) }
		return Coefficient{of(c.Value), stats.Interval{Low: of(c.Low), High: of(c.High)}}
	}
	out.of = map[Form]Coefficient{
		OneWaySingle: one, RandomSingle: random, FixedSingle: fixed,
		OneWayAverage: average(one), RandomAverage: average(random), FixedAverage: average(fixed),
	}
	return out
}

// meanSquares fills in the two-way table of the analysis of variance.
func (i *Intraclass) meanSquares(readings [][]float64) {
	n, k := len(readings), len(readings[0])
	total, byReader := 0.0, make([]float64, k)
	bySubject := make([]float64, n)
	for s, row := range readings {
		for c, x := range row {
			total += x
			byReader[c] += x / float64(n)
			bySubject[s] += x / float64(k)
		}
	}
	mean := total / float64(n*k)
	var subjects, readers, within float64
	for s, row := range readings {
		subjects += float64(k) * (bySubject[s] - mean) * (bySubject[s] - mean)
		for _, x := range row {
			within += (x - bySubject[s]) * (x - bySubject[s])
		}
	}
	for _, m := range byReader {
		readers += float64(n) * (m - mean) * (m - mean)
	}
	i.BetweenSubjects = subjects / float64(n-1)
	i.Within = within / float64(n*(k-1))
	i.BetweenReaders = readers / float64(k-1)
	i.Errors = (within - readers) / float64((n-1)*(k-1))
}

// StandardError is the standard error of measurement, in the unit of the
// readings, of absolute agreement: √(variance between readers + of errors) (de Vet
// HCW et al. J Clin Epidemiol 2006;59:1033-1039).
func (i Intraclass) StandardError() float64 {
	return math.Sqrt((i.BetweenReaders-i.Errors)/float64(i.Subjects) + i.Errors)
}

// Slope is how a difference grows with what is measured.
type Slope struct {
	Value    float64
	Interval stats.Interval
	P        float64 // two-sided, of no slope; NaN where it cannot be told
}

// ProportionalBias is the regression of second − first on the mean of both (Bland
// JM, Altman DG. Stat Methods Med Res 1999;8:135-160, section 3.2). At least three
// pairs are needed.
func ProportionalBias(first, second []float64, confidence float64) Slope {
	n := float64(len(first))
	var meanX, meanY float64
	for i := range first {
		meanX += (first[i] + second[i]) / 2 / n
		meanY += (second[i] - first[i]) / n
	}
	var xx, xy, yy float64
	for i := range first {
		x, y := (first[i]+second[i])/2-meanX, second[i]-first[i]-meanY
		xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
	}
	out := Slope{Value: xy / xx}
	spread := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}
	half := math.Sqrt(math.Max(0, yy-xy*xy/xx)/(n-2)/xx) * spread.Quantile(1-(1-confidence)/2)
	out.Interval = stats.Interval{Low: out.Value - half, High: out.Value + half}
	out.P = 2 * spread.CDF(-math.Abs(out.Value)/(half/spread.Quantile(1-(1-confidence)/2)))
	return out
}
