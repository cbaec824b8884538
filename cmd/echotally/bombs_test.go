package main

import (
	"maps"
	"os"
	"path/filepath"
	"runtime/metrics"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A bomb is a file that is meant to starve whoever reads it, where it stands in a
// folder of rules, and whether it is a fault there; others are merely large.
type bomb struct{ at, content string }

// ruleFor is a whole rule but for what the bombs put into it.
const ruleFor = `title: Something holds
status: draft
kind: consistency
severity: warning
version: "0.1.0"
purpose: Why.
usage: What.
sources: [common practice]
origin: common practice
measurands: {x: left-ventricular-internal-diameter-diastole}
`

func rep(s string, n int) string { return strings.Repeat(s, n) }

// lines numbers a line n times.
func lines(n int, line string) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(strings.ReplaceAll(line, "#", strconv.Itoa(i)))
	}
	return b.String()
}

// yamlBombs misuse the form of a file.
func yamlBombs() map[string]bomb {
	const at = "tricuspid-valve/bomb.yaml"
	laughs := "a0: &a0 [x, x]\n" + lines(30, "b#: &b# [*a0, *a0, *a0, *a0, *a0, *a0]\n")
	out := map[string]string{
		"large": "title: " + rep("x", 30<<20), "just below the bound": "title: " + rep("x", 1<<20-8), "one byte above": rep("x", 1<<20+1),
		"deep brackets": rep("[", 1<<19), "deep braces": rep("{a: ", 1<<17), "closed brackets": rep("[", 1<<18) + rep("]", 1<<18),
		"keys in keys": rep("? ", 1<<17), "deep indentation": indented(1300), "sequences in sequences": rep("- ", 1<<18),
		"laughs": laughs, "anchors": lines(1<<15, "k#: &k# v\n"), "aliases": "a: &a x\n" + lines(1<<15, "k#: *a\n"), "anchor of itself": "a: &a [*a]\n",
		"alias of none": lines(1<<14, "k#: *missing#\n"), "merge keys": "a0: &a0 {x: 1}\n" + lines(1<<13, "m#: {<<: *a0}\n"), "merge of itself": "a: &a\n  <<: *a\n",
		"documents": rep("---\na: 1\n", 1<<16), "ends of documents": rep("...\n", 1<<17), "directives": rep("%YAML 1.2\n", 1<<15), "lines": rep("- a\n", 1<<17), "empty lines": rep("\n", 1<<20-1),
		"values": "a: [" + rep("1,", 1<<18) + "]", "nodes on lines": lines(49_000, "k#: {a: 1}\n"), "one key many times": rep("a: 1\n", 40_000),
		"long key": rep("k", 1<<19) + ": 1\n", "long quoted key": "\"" + rep("k", 1<<19) + "\": 1\n", "open quote": "title: \"" + rep("x", 1<<19), "escapes": "title: \"" + rep("\\u0041", 1<<17) + "\"\n",
		"open escape": "title: \"" + rep("\\", 1<<19), "folded text": "title: >\n" + rep("  x\n", 49_000), "comments": rep("# x\n", 49_000),
		"one comment": "#" + rep("#", 1<<20-2), "tabs": rep("\t", 1<<19), "tab before a key": rep("\ta: 1\n", 1<<16), "bytes that are no UTF-8": rep("\xff\xfe", 1<<18), "nought bytes": rep("\x00", 1<<19),
		"marks of order": rep("\ufeff", 1<<18), "escape sequences": "title: [" + rep("é\x1b[2J", 1<<16), "tags": lines(1<<14, "k#: !!binary x\n"), "own tags": lines(1<<14, "k#: !t# x\n"),
		"carriage returns": rep("a: 1\r", 1<<17), "line separators": rep("a: 1\u2028", 1<<16), "digits": "version: " + rep("9", 1<<19) + "\n", "exponent": "version: 1e" + rep("9", 1<<18) + "\n",
	}
	bombs := map[string]bomb{}
	for name, content := range out {
		bombs[name] = bomb{at, content}
	}
	return bombs
}

func indented(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(rep(" ", i) + "a:\n")
	}
	return b.String()
}

// meaningBombs are well-formed, and misuse what the files mean.
func meaningBombs() map[string]bomb {
	rule := func(rest string) bomb { return bomb{"tricuspid-valve/bomb.yaml", ruleFor + rest} }
	requires := func(e string) bomb { return rule("require: \"" + e + "\"\n") }
	phrase := func(p string) bomb {
		return bomb{"phrases/en.yaml", "language: en\nphrases:\n  - {statement: sinus-rhythm, words: ['" + p + "'], examples: [{text: x, states: true}]}\n"}
	}
	const sum = "x > 1 mm"
	return map[string]bomb{
		"long expression": requires(sum + rep(" and "+sum, 1<<15)), "deep expression": requires(rep("(", 1<<17) + "x" + rep(")", 1<<17)), "open expression": requires(rep("(", 1<<19)),
		"not not": requires(rep("not ", 1<<17) + sum), "minus minus": requires("x > " + rep("-", 1<<19) + "1"), "choices": requires(rep("x > 1 mm ? ", 1<<15) + "x"),
		"calls in calls": requires(rep("sqrt(", 1<<16) + "x" + rep(")", 1<<16)), "powers": requires("x > 9" + rep("^9", 1<<17)), "huge number": requires("x > " + rep("9", 1<<19) + " mm"),
		"huge exponent": requires("x > 1e999999999 mm"), "unit of units": requires("x > 1 " + rep("mm.", 1<<17) + "mm"), "long name": requires(rep("x", 1<<19) + " > 1"), "fields of fields": requires("x" + rep(".x", 1<<17)), "lists": requires("x in [" + rep("1,", 1<<17) + "1]"),
		"parameters": rule("parameters:\n" + lines(12_000, "  p#: {value: 1 mm, documentation: d}\n") + "require: x > p1\n"), "measurands": {"tricuspid-valve/bomb.yaml", strings.Replace(ruleFor, "measurands: {x: left-ventricular-internal-diameter-diastole}\n", "measurands:\n"+lines(15_000, "  x#: left-ventricular-internal-diameter-diastole\n"), 1) + "require: present(x1)\n"},
		"template": rule("require: x > 1 mm\nmessage: \"" + rep("{x}", 1<<17) + "\"\n"), "open template": rule("require: x > 1 mm\nmessage: \"" + rep("{", 1<<19) + "\"\n"), "template of templates": rule("require: x > 1 mm\nmessage: \"" + rep("{x", 1<<16) + rep("}", 1<<16) + "\"\n"),
		"examples": rule("require: x > 1 mm\nexamples:\n" + lines(8_000, "  - {title: t#, given: {x: 40 mm}, outcome: fail}\n")), "rows": rule("require: x > low\nrows:\n" + lines(8_000, "  - {identifier: r#, version: \"0.1.0\", x: left-ventricular-internal-diameter-diastole}\n")),
		"phrase of stars": phrase(rep("a* ", 1<<16)), "phrase of choices": phrase(rep("(a|b) ", 1<<14)), "phrase of options": phrase(rep("(a|) ", 1<<10)), "phrase of gaps": phrase("a" + rep(" ~ a", 1<<14)), "phrase in phrases": phrase(rep("(", 1<<16) + "a" + rep(")", 1<<16)),
		"phrases": {"phrases/en.yaml", "language: en\nphrases:\n" + lines(9_000, "  - {statement: no-such-#, words: [w#], examples: [{text: w#, states: true}]}\n")}, "abbreviations": {"abbreviations.yaml", "Bad: x\n" + lines(30_000, "w#: word\n")},
		"statements": {"phrases/coded.yaml", lines(12_000, "- {identifier: s-#, codings: [no-code]}\n")}, "terms": {"terms.yaml", "imageView:\n" + lines(12_000, "  v-#: {title: V}\n")}, "measurand file": {"measurand/bomb.yaml", lines(9_000, "- {identifier: m-#, unit: furlong}\n")},
	}
}

// processor is the time that this process has spent.
func processor(t *testing.T) time.Duration {
	t.Helper()
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		t.Fatal(err)
	}
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}

func allocated() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

// A rule or settings file that would starve the machine is refused with its place,
// with few bytes taken in all, and the fault is short. What it takes of the processor is
// told with -v, where it is much. Rules lie side by side, so that the shipped ones are
// linted seldom, and share the output that one may have; -full has each alone as well.
func TestRuleBombsAreRefused(t *testing.T) {
	all := yamlBombs()
	for name, b := range meaningBombs() {
		if _, known := all[name]; known {
			t.Errorf("two bombs %s", name)
		}
		all[name] = b
	}
	if len(all) < 46 {
		t.Errorf("%d bombs", len(all))
	}
	var together []string // bombs that are rules
	for _, name := range slices.Sorted(maps.Keys(all)) {
		b := all[name]
		isRule := strings.HasPrefix(b.at, "tricuspid-valve/")
		if isRule {
			together = append(together, b.content)
		}
		t.Run(name, func(t *testing.T) {
			site := t.TempDir()
			file := filepath.Join(site, filepath.FromSlash(b.at))
			writeBomb(t, file, b.content)
			refuses(t, 1, "audit", "--month", "2026-03", "--out", filepath.Join(site, "out"), "--settings", file)
			if !isRule || *full {
				refuses(t, 1, "rules", "lint", "--rules", site)
			}
		})
	}
	const groups = 6 // neighbours by name, which take alike, come into different ones
	for group := range groups {
		site := t.TempDir()
		named := map[string]string{}
		for i := group; i < len(together); i += groups {
			name := "tricuspid-valve/bomb-" + strconv.Itoa(i) + ".yaml"
			named[name] = together[i]
			writeBomb(t, filepath.Join(site, filepath.FromSlash(name)), together[i])
		}
		output := refuses(t, len(named), "rules", "lint", "--rules", site)
		for name, content := range named {
			if !strings.Contains(output, name) {
				t.Errorf("nothing is said of %.100q", content)
			}
		}
	}
}

// refuses runs a command that is to refuse bombs, and gives what it says. In what
// it may take, the shipped rules count as four of them.
func refuses(t *testing.T, bombs int, line ...string) string {
	t.Helper()
	before, spent := allocated(), processor(t)
	output, code := perform(line...)
	used, took := allocated()-before, processor(t)-spent
	if code != exitUsage || len(output) > 64<<10 {
		t.Errorf("%s: exit code %d, %d bytes of output: %.300q", line[0], code, len(output), output)
	}
	scan(t, line[0], output)
	if used > uint64(max(256, 128+32*bombs))<<20 {
		t.Errorf("%s: %d MiB used for %d", line[0], used>>20, bombs)
	}
	if took > 2*time.Second {
		t.Logf("%s: %v of the processor", line[0], took)
	}
	return output
}

func writeBomb(t *testing.T, file, content string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}
