package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/rules"
)

// benchStudies is how many studies the lab of BenchmarkWhatIf has in its year,
// unless ECHOTALLY_BENCH_STUDIES says another number.
const benchStudies = 10_000

// BenchmarkWhatIf judges the year of a large lab anew under other rules, the
// whole command from the ledger to the written set. The ledger takes minutes to
// fill and is kept in the folder that ECHOTALLY_BENCH names; empty it when the
// shipped rules change.
func BenchmarkWhatIf(b *testing.B) {
	dir := os.Getenv("ECHOTALLY_BENCH")
	if dir == "" {
		b.Skip("ECHOTALLY_BENCH names no folder to keep the ledger in")
	}
	ledger := benchLedger(b, dir)
	one := b.TempDir()
	lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		b.Fatal(err)
	}
	changed := slices.IndexFunc(lib.Rules, func(r *rule.Rule) bool { return r.File.Identifier == "right-ventricle/tapse-present" })
	tapse := "derivedFrom: right-ventricle/tapse-present@" + lib.Rules[changed].File.Version + "\napprovalDate: 2026-11-01\nreviewer: quality manager\nseverity: error\n"
	writeFile(b, filepath.Join(one, "right-ventricle", "tapse-present.yaml"), tapse)
	limit := b.TempDir()
	ratio := slices.IndexFunc(lib.Rules, func(r *rule.Rule) bool { return r.File.Identifier == "right-ventricle/tapse-fits-s-prime" })
	writeFile(b, filepath.Join(limit, "right-ventricle", "tapse-fits-s-prime.yaml"), "derivedFrom: right-ventricle/tapse-fits-s-prime@"+lib.Rules[ratio].File.Version+
		"\napprovalDate: 2026-11-01\nreviewer: quality manager\nparameters: {short: {value: 140 ms, origin: site choice}}\n")
	// What a lab mostly has: codes of its scanner beside a changed rule.
	codes := b.TempDir()
	writeFile(b, filepath.Join(codes, "right-ventricle", "tapse-present.yaml"), tapse)
	writeFile(b, filepath.Join(codes, "measurand", "own.yaml"),
		"- {identifier: tricuspid-annular-plane-systolic-excursion, codings: [{conceptName: \"99BENCH:T\", manufacturer: Bench, source: ours}]}\n")
	every := b.TempDir()
	writeFile(b, filepath.Join(every, "terms.yaml"), "imageView:\n  bench-view: {code: \"99BENCH:1\", title: A view of the benchmark}\n")
	for _, what := range []struct {
		name string
		args []string
	}{
		{"no comparison", nil},
		{"one severity", []string{"--rules", one, "--compare"}},
		{"one limit", []string{"--rules", limit, "--compare"}},
		{"codes and one severity", []string{"--rules", codes, "--compare"}},
		{"another edition", []string{"--edition", "2025", "--compare"}},
		{"every rule", []string{"--rules", every, "--compare"}},
	} {
		b.Run(what.name, func(b *testing.B) {
			for b.Loop() {
				args := append([]string{"audit", "--from", "2025-11-01", "--to", "2026-10-31", "--out", filepath.Join(b.TempDir(), "out")}, what.args...)
				must(b, append(args, ledger...)...)
			}
		})
	}
}

// benchLedger fills the ledger unless it is there.
func benchLedger(b *testing.B, dir string) []string {
	store := filepath.Join(dir, "ledger.db")
	flags := []string{"--store", store, "--key", filepath.Join(dir, "key")}
	if _, err := os.Stat(store); err == nil {
		return flags
	}
	studies := benchStudies
	if given := os.Getenv("ECHOTALLY_BENCH_STUDIES"); given != "" {
		var err error
		if studies, err = strconv.Atoi(given); err != nil {
			b.Fatalf("ECHOTALLY_BENCH_STUDIES: %v", err)
		}
	}
	lab := filepath.Join(dir, "lab")
	must(b, "demo", lab, "--year", "--studies", fmt.Sprint((studies+11)/12))
	must(b, append([]string{"intake", lab, "--roster", filepath.Join(lab, "staff.csv"), "--labs", filepath.Join(lab, "sites.csv"), "--signoff", filepath.Join(lab, "times.csv")}, flags...)...)
	return flags
}

func must(tb testing.TB, args ...string) {
	tb.Helper()
	if code := execute(args); code != 0 {
		tb.Fatalf("%s exits with %d", strings.Join(args, " "), code)
	}
}

func writeFile(tb testing.TB, name, text string) {
	tb.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		tb.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		tb.Fatal(err)
	}
}

// BenchmarkIntake records a part of the year of a lab, from files to acknowledged
// lines, each time into a new ledger.
func BenchmarkIntake(b *testing.B) {
	lab := filepath.Join(b.TempDir(), "lab")
	must(b, "demo", lab, "--year", "--studies", "15")
	n := 0
	for b.Loop() {
		dir := b.TempDir()
		must(b, "intake", lab, "--store", filepath.Join(dir, "ledger.db"), "--key", filepath.Join(dir, "key"))
		n += 12 * 15
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "studies/s")
}
