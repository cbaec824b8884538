package stats_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"testing"

	"echotally/internal/stats"
	"echotally/internal/stats/control"
	"echotally/internal/stats/heaping"
	"echotally/internal/stats/kappa"
	"echotally/internal/stats/reliability"
	"echotally/internal/stats/runs"
)

// scipyScript gives the same figures by SciPy and statsmodels, which are not
// ours and do not share our code.
const scipyScript = `
import json, sys
try:
    import numpy as np
    from scipy import stats as s
    from statsmodels.stats.proportion import proportion_confint, confint_proportions_2indep
    from statsmodels.stats.multitest import multipletests
    from statsmodels.stats.inter_rater import cohens_kappa, fleiss_kappa
    from scipy.interpolate import lagrange
except ImportError as e:
    sys.exit(77)
out = {}
for x, n in [(0, 20), (1, 29), (3, 40), (7, 50), (15, 148), (81, 263), (95, 100), (250, 250), (2918, 3000)]:
    for name, method in [("wilson", "wilson"), ("exact", "beta")]:
        lo, hi = proportion_confint(x, n, 0.05, method)
        out["%s %d/%d" % (name, x, n)] = [max(lo, 0) if lo == lo else 0, min(hi, 1) if hi == hi else 1]
for a, b in [((4, 4), (0, 4)), ((3, 4), (1, 4)), ((405, 654), (2243, 2346)), ((12, 30), (20, 31)), ((0, 25), (3, 400)), ((448, 448), (464, 2310))]:
    out["fisher %d/%d %d/%d" % (a + b)] = [float(s.fisher_exact([[a[0], a[1]-a[0]], [b[0], b[1]-b[0]]])[1])]
    lo, hi = confint_proportions_2indep(a[0], a[1], b[0], b[1], method="newcomb", compare="diff", alpha=0.05)
    out["newcombe %d/%d %d/%d" % (a + b)] = [float(lo), float(hi)]
for x, n, p in [(12, 40, 0.1), (3, 20, 0.25), (70, 100, 0.8), (0, 30, 0.05)]:
    tail = min(s.binom.cdf(x, n, p), s.binom.sf(x - 1, n, p))
    out["binomial %d/%d %g" % (x, n, p)] = [float(min(1, 2 * tail))]
p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]
rejected, adjusted = multipletests(p, 0.05, "fdr_bh")[:2]
out["bh"] = [float(x) for x in adjusted]
digits = [14, 3, 8, 4, 6, 15, 7, 5, 9, 4]
chi = s.chisquare(digits)
out["chi-square"] = [float(chi.statistic), float(chi.pvalue)]
for n, p, lo, hi in [(250, 0.9, 0.84, 0.95), (40, 0.5, 0.3, 0.7)]:
    import math
    out["outside %d" % n] = [float(s.binom.cdf(math.ceil(lo*n - 1e-9) - 1, n, p) + s.binom.sf(math.floor(hi*n + 1e-9), n, p))]
# Runs about the median with equal numbers on both sides, by the hypergeometric counts.
from scipy.special import comb
for n in [12, 20, 30]:
    k = n // 2
    pmf = {r: (2 * comb(k-1, r//2-1)**2 if r % 2 == 0 else 2 * comb(k-1, r//2) * comb(k-1, r//2-1)) / comb(n, k) for r in range(2, n+1)}
    few = max([r for r in pmf if sum(pmf[q] for q in pmf if q <= r) <= 0.025] + [1])
    many = min([r for r in pmf if sum(pmf[q] for q in pmf if q >= r) <= 0.025])
    out["runs %d" % n] = [few, many]
    out["crossings only %d" % n] = [float(sum(pmf[r] for r in pmf if r - 1 < 4))]
x = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
out["quantile"] = [float(np.quantile(x, 0.9)), float(np.quantile(x, 0.5))]
a = np.array([494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427], float)
b = np.array([512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451], float)
d = a - b
lo, hi = s.t.interval(0.95, len(d) - 1, loc=d.mean(), scale=s.sem(d))
out["agreement"] = [float(d.mean()), float(d.std(ddof=1)), float(lo), float(hi), float(s.spearmanr(abs(d), (a + b) / 2).statistic)]
ss = float(((d ** 2) / 2).sum())
out["repeatability"] = [1.96 * (2 * ss / q) ** 0.5 for q in (len(d), s.chi2.ppf(0.975, len(d)), s.chi2.ppf(0.025, len(d)))]
import statsmodels.formula.api as smf
from statsmodels.stats.anova import anova_lm
import pandas as pd
fit = smf.ols("y ~ x", pd.DataFrame({"y": b - a, "x": (a + b) / 2})).fit()
lo, hi = fit.conf_int().loc["x"]
out["slope"] = [float(fit.params["x"]), float(lo), float(hi), float(fit.pvalues["x"])]
m = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float)
long = pd.DataFrame([(r, c, m[r, c]) for r in range(6) for c in range(4)], columns=["r", "c", "y"])
table = anova_lm(smf.ols("y ~ C(r) + C(c)", long).fit())
out["mean squares"] = [float(table.loc[x, "mean_sq"]) for x in ["C(r)", "C(c)", "Residual"]]
for name, table in [("cohen", [[88, 14, 18], [10, 40, 10], [2, 6, 12]]), ("paradox", [[80, 10], [5, 5]]), ("four", [[40, 8, 1, 0], [6, 22, 5, 1], [0, 4, 12, 3], [0, 0, 2, 6]]),
    ("diagnoses", [[75, 1, 4], [5, 4, 1], [0, 0, 10]]), ("winnipeg", [[38, 5, 0, 1], [33, 11, 3, 0], [10, 14, 5, 6], [3, 7, 3, 10]]), ("orleans", [[5, 3, 0, 0], [3, 11, 4, 0], [2, 13, 3, 4], [1, 2, 4, 14]]),
    ("carcinoma", [[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]]), ("skin", [[10, 4, 1, 0], [5, 10, 12, 2], [2, 4, 12, 5], [0, 2, 6, 13]])]:
    for weight in [None, "linear", "quadratic"]:
        k = cohens_kappa(np.array(table), wt=weight)
        out["kappa %s %s" % (name, weight)] = [float(x) for x in (k.kappa, k.std_kappa, max(-1, k.kappa_low), min(1, k.kappa_upp))]
out["many fourteen"] = [float(fleiss_kappa(np.array([[0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1], [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7]])))]
# The six intraclass correlations and their intervals, from the analyses of variance of statsmodels.
def intraclass(m):
    n, k = m.shape
    long = pd.DataFrame([(r, c, m[r, c]) for r in range(n) for c in range(k)], columns=["r", "c", "y"])
    two, one = anova_lm(smf.ols("y ~ C(r) + C(c)", long).fit()), anova_lm(smf.ols("y ~ C(r)", long).fit())
    B, J, E, W = two.loc["C(r)", "mean_sq"], two.loc["C(c)", "mean_sq"], two.loc["Residual", "mean_sq"], one.loc["Residual", "mean_sq"]
    q = lambda a, b: s.f.ppf(0.975, a, b)
    f1, f3 = B / W, B / E
    l1, u1, l3, u3 = f1 / q(n-1, n*(k-1)), f1 * q(n*(k-1), n-1), f3 / q(n-1, (n-1)*(k-1)), f3 * q((n-1)*(k-1), n-1)
    i2 = (B - E) / (B + (k-1)*E + k*(J-E)/n)
    a, b = k*i2 / (n*(1-i2)), 1 + k*i2*(n-1) / (n*(1-i2))
    v = (a*J + b*E)**2 / ((a*J)**2/(k-1) + (b*E)**2/((n-1)*(k-1)))
    fl, fu = q(n-1, v), q(v, n-1)
    l2, u2 = n*(B - fl*E) / (fl*(k*J + (k*n-k-n)*E) + n*B), n*(fu*B - E) / (k*J + (k*n-k-n)*E + n*fu*B)
    single = lambda x: (x-1) / (x+k-1)
    mean = lambda x: k*x / (1 + (k-1)*x)
    return [float(x) for x in [single(f1), single(l1), single(u1), i2, l2, u2, single(f3), single(l3), single(u3),
        (B-W)/B, 1 - 1/l1, 1 - 1/u1, (B-E)/(B+(J-E)/n), mean(l2), mean(u2), (B-E)/B, 1 - 1/l3, 1 - 1/u3]]
out["intraclass judges"] = intraclass(m)
out["intraclass lifts"] = intraclass(np.array([[146, 140], [148, 152], [170, 152], [90, 99], [157, 145], [156, 153], [176, 167], [205, 218]], float))
# What is expected on 20 is the cubic through its four neighbours; p by the normal tail.
counts = {17: 30, 18: 41, 19: 45, 20: 71, 21: 40, 22: 37, 23: 30, 24: 21, 25: 25, 26: 12, 27: 8, 28: 4, 10: 3, 11: 2}
at = lambda i: counts.get(i, 0)
centres = [c for c in range(0, 40, 5) if any(at(c + d) for d in range(-2, 3))]
expected = sum(float(np.polyval(lagrange([-2, -1, 1, 2], [at(c + d) for d in (-2, -1, 1, 2)]), 0)) for c in centres)
found = sum(at(c) for c in centres)
z = (found - expected) / sum(at(c) + (16 * (at(c-1) + at(c+1)) + at(c-2) + at(c+2)) / 36 for c in centres) ** 0.5
out["heap"] = [found, expected, float(s.norm.sf(z))]
json.dump(out, sys.stdout)
`

// TestAgainstScipy compares with Debian's SciPy and statsmodels.
func TestAgainstScipy(t *testing.T) {
	cmd := exec.Command("/usr/bin/python3", "-c", scipyScript)
	var problems bytes.Buffer
	cmd.Stderr = &problems
	text, err := cmd.Output()
	if err != nil {
		if cmd.ProcessState == nil || cmd.ProcessState.ExitCode() == 77 {
			t.Skip("python3-scipy and python3-statsmodels are not installed")
		}
		t.Fatalf("%v: %s", err, problems.String())
	}
	var theirs map[string][]float64
	if err := json.Unmarshal(text, &theirs); err != nil {
		t.Fatal(err)
	}
	if len(theirs) < 40 {
		t.Fatalf("only %d figures to compare with", len(theirs))
	}
	for name, want := range theirs {
		got := ours(t, name)
		if len(got) != len(want) {
			t.Errorf("%s: %d figures, theirs %d", name, len(got), len(want))
			continue
		}
		for i := range want {
			// Small p-values are compared by their ratio.
			near(t, "scipy: "+name, got[i], want[i], 1e-9+1e-6*math.Abs(want[i]))
		}
	}
}

// ours computes the figures of a name of the script.
func ours(t *testing.T, name string) []float64 {
	t.Helper()
	var p, q stats.Proportion
	var n int
	interval := func(i stats.Interval) []float64 { return []float64{i.Low, i.High} }
	scan := func(format string, to ...any) bool {
		count, err := fmt.Sscanf(name, format, to...)
		return err == nil && count == len(to)
	}
	switch {
	case scan("fisher %d/%d %d/%d", &p.Count, &p.Total, &q.Count, &q.Total):
		return []float64{stats.FisherExact(p, q)}
	case scan("newcombe %d/%d %d/%d", &p.Count, &p.Total, &q.Count, &q.Total):
		_, i := stats.Difference(p, q, 0.95)
		return interval(i)
	case scan("wilson %d/%d", &p.Count, &p.Total):
		return interval(p.Wilson(0.95))
	case scan("exact %d/%d", &p.Count, &p.Total):
		return interval(p.ClopperPearson(0.95))
	case scan("runs %d", &n):
		few, many := runs.RunCountLimits(n, 0.025)
		return []float64{float64(few), float64(many)}
	case scan("crossings only %d", &n):
		return []float64{runs.BalancedRunsFalseAlarm(n, n, 4)}
	case scan("outside %d", &n):
		if n == 250 {
			return []float64{control.OutsideLimits(n, 0.9, stats.Interval{Low: 0.84, High: 0.95})}
		}
		return []float64{control.OutsideLimits(n, 0.5, stats.Interval{Low: 0.3, High: 0.7})}
	}
	var target float64
	if scan("binomial %d/%d %g", &p.Count, &p.Total, &target) {
		return []float64{stats.BinomialTest(p, target)}
	}
	var table, weight string
	if scan("kappa %s %s", &table, &weight) {
		weights := kappa.Weights(kappa.Nominal)
		switch weight {
		case "quadratic":
			weights = kappa.Quadratic
		case "linear":
			weights = linear
		}
		tables := map[string][][]int{"diagnoses": diagnoses, "winnipeg": winnipeg, "orleans": orleans, "carcinoma": carcinoma, "skin": skin, "cohen": cohen, "paradox": paradox, "four": {{40, 8, 1, 0}, {6, 22, 5, 1}, {0, 4, 12, 3}, {0, 0, 2, 6}}}
		k := kappa.NewKappa(tables[table], weights, 0.95)
		return []float64{k.Value, k.SE, k.Interval.Low, k.Interval.High}
	}
	if scan("intraclass %s", &table) {
		i := reliability.NewIntraclass(map[string][][]float64{"judges": judges(), "lifts": lifts}[table], 0.95)
		var out []float64
		for _, form := range reliability.Forms() {
			c := i.Of(form)
			out = append(out, c.Value, c.Low, c.High)
		}
		return out
	}
	switch name {
	case "many fourteen":
		return []float64{kappa.NewManyReaders(fourteen).Value}
	case "heap":
		h := heaping.Heaping(map[int]int{17: 30, 18: 41, 19: 45, 20: 71, 21: 40, 22: 37, 23: 30, 24: 21, 25: 25, 26: 12, 27: 8, 28: 4, 10: 3, 11: 2})
		return []float64{float64(h.Round), h.Expected, h.PValue}
	case "bh":
		_, adjusted := stats.Discoveries([]float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0}, 0.05)
		return adjusted
	case "chi-square":
		d := heaping.EndDigits([10]int{14, 3, 8, 4, 6, 15, 7, 5, 9, 4})
		return []float64{d.ChiSquare, d.PValue}
	case "agreement":
		a := reliability.NewAgreement(mini1, wright1, reliability.Usual, 0.95)
		return []float64{a.Bias, a.SD, a.OfBias.Low, a.OfBias.High, a.Growth}
	case "repeatability":
		var pairs [][]float64
		for i := range mini1 {
			pairs = append(pairs, []float64{wright1[i], mini1[i]})
		}
		r := reliability.NewRepeatability(pairs, 0.95)
		return []float64{r.Coefficient, r.Interval.Low, r.Interval.High}
	case "slope":
		s := reliability.ProportionalBias(wright1, mini1, 0.95)
		return []float64{s.Value, s.Interval.Low, s.Interval.High, s.P}
	case "mean squares":
		i := reliability.NewIntraclass(judges(), 0.95)
		return []float64{i.BetweenSubjects, i.BetweenReaders, i.Errors}
	case "quantile":
		x := []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
		return []float64{stats.Quantile(x, 0.9), stats.Quantile(x, 0.5)}
	}
	t.Errorf("nothing of ours for %q", name)
	return nil
}
