package metamorphic

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/library"
	"echotally/internal/phantom"
	"echotally/internal/rule"
	"echotally/internal/sr"
	"echotally/rules"
)

var full = flag.Bool("full", false, "transform thousands of studies")

// study is one that transformations change: its reports, and how they reach the
// program.
type study struct {
	base    *base
	reports []*node
	random  *rand.Rand

	encoding *dcmtest.Encoding // nil: the data set as it is
	latin    bool              // text is written in ISO_IR 100
	copies   bool              // values were copied into further groups
	private  bool              // read with the site's mapping of its own codes
}

// verdict is all that is compared of a judgement.
type verdict struct {
	outcomes  map[string]outcome
	protocols []string
	suspects  outcome // its blame is what does not fit all others
}

// base is an untransformed study with what the rules make of it.
type base struct {
	profile phantom.Profile
	dialect string
	slipped bool // one number is wrong and one measurand missing
	seed    uint64
	report  *node
	verdict
	counts map[string]int      // measurements by measurand
	said   map[string][]string // statements by position path of the item that makes them
}

func (b *base) String() string {
	return fmt.Sprintf("%s by %s, slipped %t, seed %d", b.profile.Name, b.dialect, b.slipped, b.seed)
}

// outcome is what a rule came to, and how serious that is.
type outcome struct {
	finding.Outcome
	severity finding.Severity // of what is no pass
	blame    string           // likely causes and the suspect of what failed
}

func (o outcome) String() string {
	return strings.TrimSpace(string(o.Outcome) + " " + string(o.severity) + " " + o.blame)
}

// bench is what all tests share: the shipped rules, and those of a site that
// maps codes of its own.
type bench struct {
	lib, mapped   *library.Library
	plain, mapper *judge.Judge
	code          map[string]string // the site's code of a measurand
	rules         map[string]*rule.Rule
	legacy        map[string]string // SNOMED number to older identifier
	studies       int
}

func newBench(t *testing.T) *bench {
	t.Helper()
	lib, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{lib: lib, plain: judge.New(lib), code: map[string]string{}, rules: map[string]*rule.Rule{}, legacy: map[string]string{}}
	var text strings.Builder
	for i, m := range lib.Measurands.Measurands {
		b.code[m.Identifier] = fmt.Sprintf("Q%04d", i)
		fmt.Fprintf(&text, "- identifier: %s\n  codings:\n    - {conceptName: \"99INVENTED:Q%04d\", source: \"conformance statement (invented)\"}\n", m.Identifier, i)
	}
	site := fstest.MapFS{"measurand/scanner.yaml": {Data: []byte(text.String())}}
	if b.mapped, err = library.Load(library.Settings{}, rules.FS, site); err != nil {
		t.Fatal(err)
	}
	b.mapper = judge.New(b.mapped)
	for _, r := range lib.Rules {
		r.Prepare()
		b.rules[r.File.Identifier] = r
	}
	return b
}

// newBase makes the n-th base study. Every second one has a slip, so that
// failures are kept as well as passes.
func (b *bench) newBase(t *testing.T, seed uint64) *base {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 4711))
	p := phantom.Profiles[int(seed)%len(phantom.Profiles)]
	d := phantom.Dialects()[int(seed)/2%len(phantom.Dialects())]
	if phantom.Child(p) {
		d = phantom.DialectNamed("petrelline")
	}
	c := phantom.PlainRecord(p, random)
	out := &base{profile: p, dialect: d.Name, slipped: seed%2 == 1, seed: seed, counts: map[string]int{}, said: map[string][]string{}}
	if out.slipped {
		r := c.Readings[random.IntN(len(c.Readings))]
		r.Set(r.Value() * []float64{0.5, 1.6, 10}[random.IntN(3)])
		c.Remove(c.Readings[random.IntN(len(c.Readings))].Quantity.Measurand)
	}
	h := phantom.Header{Study: "2.25.1", Series: "2.25.2", Instance: "2.25.3", Number: 1, Time: "101500", Completion: "COMPLETE"}
	out.report = nodeOf(d.Document(c, h, d.Write(d, c)))
	s := out.study(seed)
	read := b.read(t, s)
	at := map[string]string{}
	for _, m := range read.Measurements {
		at[m.Source.Item] = m.Measurand
		out.counts[m.Measurand]++
	}
	for _, said := range read.Statements {
		if said.Measurement != nil {
			continue
		}
		out.said[said.Source.Item] = append(out.said[said.Source.Item], said.Identifier)
	}
	out.report.paths("1", func(path string, n *node) { n.measurand = at[path] })
	out.verdict = b.judge(read, false)
	out.report.walk(func(n *node) {
		for _, c := range []concept{n.name, n.coded} {
			if k := c.key(); c.scheme == "SRT" && k.CodingSchemeDesignator == "SCT" {
				b.legacy[k.CodeValue] = c.value
			}
		}
	})
	return out
}

// study is a fresh copy to be transformed.
func (b *base) study(seed uint64) *study {
	return &study{base: b, reports: []*node{b.report.clone()}, random: rand.New(rand.NewPCG(seed, b.seed))}
}

func (s *study) walk(visit func(*node)) {
	for _, r := range s.reports {
		r.walk(visit)
	}
}

func (s *study) numbers() (out []*node) {
	for _, r := range s.reports {
		out = append(out, r.numbers()...)
	}
	return out
}

// read reads the reports as the program reads those of one study.
func (b *bench) read(t *testing.T, s *study) *echo.Study {
	t.Helper()
	b.studies++
	var docs []*sr.Document
	for _, r := range s.reports {
		file := &dcm.File{Dataset: r.dataset()}
		if s.encoding != nil {
			data := file.Dataset
			if s.latin {
				data = latin(data)
			}
			var err error
			if file, err = dcm.ReadBytes(dcmtest.Encode(data, *s.encoding)); err != nil {
				t.Fatalf("%v: %v", s.base, err)
			}
		}
		doc, err := sr.Parse(file)
		if err != nil {
			t.Fatalf("%v: %v", s.base, err)
		}
		docs = append(docs, doc)
	}
	lib := b.lib
	if s.private {
		lib = b.mapped
	}
	return extract.Study(docs, extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements})
}

// latin writes all text in ISO_IR 100; all of it is within Latin alphabet No. 1.
func latin(d dcm.Dataset) dcm.Dataset {
	out := dcm.New()
	for _, e := range d.Elements {
		switch v := e.Value().(type) {
		case []string:
			values := make([]string, len(v))
			for i := range v {
				var bytes []byte
				for _, r := range v[i] {
					bytes = append(bytes, byte(r))
				}
				values[i] = string(bytes)
			}
			out.Add(dcm.Private(e.Tag, e.VR(), values))
		case []dcm.Dataset:
			list := make([]dcm.Dataset, len(v))
			for i := range v {
				list[i] = latin(v[i])
			}
			out.Add(dcm.Sequence(e.Tag, list...))
		default:
			out.Add(e)
		}
	}
	return out
}

// reconciliation stands among the rules for what does not fit all others.
const reconciliation = "reconciliation"

func blame(causes []finding.Hypothesis, suspect string) string {
	var out []string
	for _, c := range causes {
		out = append(out, c.Identifier+" of "+c.Measurand)
	}
	return strings.Join(out, ", ") + " (" + suspect + ")"
}

// judge is what each rule came to, and the protocols that hold.
func (b *bench) judge(s *echo.Study, private bool) verdict {
	j := b.plain
	if private {
		j = b.mapper
	}
	v := verdict{outcomes: map[string]outcome{}}
	judged := j.Study(s, judge.By{})
	for _, r := range judged.Results {
		v.outcomes[r.Rule] = outcome{Outcome: r.Outcome}
		if r.Outcome != finding.Pass {
			v.outcomes[r.Rule] = outcome{r.Outcome, r.Severity, blame(r.Causes, r.Suspect)}
		}
	}
	for _, a := range judged.NotApplicable {
		v.outcomes[a.Rule] = outcome{Outcome: finding.NotApplicable}
	}
	if joint := judged.Reconciliation; joint != nil {
		for _, round := range joint.Suspects {
			for _, one := range round {
				v.suspects.blame += blame(one.Causes, one.Measurand) + ";"
			}
		}
	}
	v.protocols = append(v.protocols, judged.Protocols.Base.Identifier)
	for _, p := range judged.Protocols.Triggered {
		v.protocols = append(v.protocols, p.Identifier)
	}
	return v
}

// change is a rule that came to something else.
type change struct {
	rule     string
	from, to outcome
}

func (c change) String() string { return fmt.Sprintf("%s: %v, now %v", c.rule, c.from, c.to) }

func (c change) onlyCauses() bool {
	return c.from.Outcome == c.to.Outcome && c.from.severity == c.to.severity
}

// changes are the rules whose outcome is not that of the untransformed study,
// and the protocols that hold in one of the two only.
func (b *bench) changes(t *testing.T, s *study) (out []change, protocols []string) {
	t.Helper()
	now := b.judge(b.read(t, s), s.private)
	hold := now.protocols
	for _, p := range append(slices.Clone(hold), s.base.protocols...) {
		if slices.Contains(hold, p) != slices.Contains(s.base.protocols, p) {
			protocols = append(protocols, p)
		}
	}
	for name, was := range s.base.outcomes {
		if now.outcomes[name] != was {
			out = append(out, change{name, was, now.outcomes[name]})
		}
	}
	if now.suspects != s.base.suspects {
		out = append(out, change{reconciliation, s.base.suspects, now.suspects})
	}
	slices.SortFunc(out, func(x, y change) int { return strings.Compare(x.rule, y.rule) })
	return out, protocols
}

func joined(list []string) string { return strings.Join(list, " ") }
