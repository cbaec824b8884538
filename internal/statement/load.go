package statement

import (
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"sort"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/spelling"
	"echotally/internal/term"
)

// codedFile is phrases/coded.yaml: the statements that exist.
type codedFile []struct {
	Identifier string `yaml:"identifier"`
	Title      string `yaml:"title"`
	Group      string `yaml:"group"`
	Opposite   string `yaml:"opposite"`
	Lasting    bool   `yaml:"lasting"`
	Whole      bool   `yaml:"whole"`
	OfStudy    bool   `yaml:"ofStudy"`
	Covers     struct {
		Window    []string `yaml:"window"`
		Structure []string `yaml:"structure"`
		Measurand []string `yaml:"measurand"`
		Study     bool     `yaml:"study"`
	} `yaml:"covers"`
	Widens  *widens `yaml:"widens"`
	Harder  Harder  `yaml:"harder"`
	Quality int     `yaml:"quality"`
	Done    struct {
		As    string `yaml:"as"`
		Place int    `yaml:"place"`
	} `yaml:"done"`
	Codings []string `yaml:"codings"`
}

// widens is how much wider repeated readings lie when a statement is made.
type widens struct {
	Factor float64 `yaml:"factor"`
	Source string  `yaml:"source"`
}

// languageFile is any other file: the words of one language.
type languageFile struct {
	Language      string   `yaml:"language"`
	Abbreviations []string `yaml:"abbreviations"`
	Negation      struct {
		Before   []string `yaml:"before"`
		After    []string `yaml:"after"`
		Until    []string `yaml:"until"`
		Aside    []string `yaml:"aside"`
		Through  []string `yaml:"through"`
		Unclear  []string `yaml:"unclear"`
		Hedges   []string `yaml:"hedges"`
		Doubted  []string `yaml:"doubted"`
		Harmless []string `yaml:"harmless"`
	} `yaml:"negation"`
	Views []struct {
		View  string   `yaml:"view"`
		Words []string `yaml:"words"`
	} `yaml:"views"`
	Graded  graded   `yaml:"graded"`
	Numbers []number `yaml:"numbers"`
	Phrases []struct {
		Statement string   `yaml:"statement"`
		Words     []string `yaml:"words"`
		Unless    []string `yaml:"unless"`
		Examples  []struct {
			Text    string `yaml:"text"`
			States  bool   `yaml:"states"`
			Negated bool   `yaml:"negated"`
		} `yaml:"examples"`
	} `yaml:"phrases"`
}

// example is a sentence of a phrase file that serves as its test.
type example struct {
	file            string
	places          *datafile.Places
	path            string
	statement       string
	text            string
	states, negated bool
}

// codedName is the file that lists the statements.
const codedName = "coded.yaml"

// Load reads phrases/*.yaml from each file system in turn (shipped first, then
// site, which adds codings, words and statements); the error joins all faults.
func Load(terms *term.Catalogue, layers ...fs.FS) (*Catalogue, error) {
	ld := &loader{terms: terms, compiler: newCompiler(), c: &Catalogue{
		byID: map[string]*Definition{}, byCode: map[coding.Key][]*Definition{}, byAnswer: map[Answer][]*Definition{}, bySite: map[Answer][]*Definition{}, opposites: map[string]string{},
		words: lexicon{byFirst: map[string][]entry{}, byInitial: map[string][]*phrase{},
			until: map[string]bool{}, aside: map[string]bool{}, through: map[string]bool{}, unclear: map[string]bool{},
			stops: map[string]bool{}, abbreviations: map[string]bool{}},
	}}
	for _, layer := range layers {
		names, err := fs.Glob(layer, "phrases/*.yaml")
		if err != nil {
			return nil, err
		}
		sort.Slice(names, func(i, j int) bool { // the definitions first
			ci, cj := path.Base(names[i]) == codedName, path.Base(names[j]) == codedName
			return ci && !cj || ci == cj && names[i] < names[j]
		})
		for _, name := range names {
			ld.file(layer, name)
		}
	}
	c := ld.c
	c.Definitions = slices.SortedFunc(maps.Values(c.byID), func(a, b *Definition) int {
		if a.Identifier < b.Identifier {
			return -1
		}
		return 1
	})
	for i, d := range c.Definitions {
		d.Place = i
	}
	for _, set := range []map[string]bool{c.words.until, c.words.through, c.words.unclear} {
		maps.Copy(c.words.stops, set)
	}
	return c, fault.Join(ld.faults)
}

type loader struct {
	terms    *term.Catalogue
	compiler *compiler
	c        *Catalogue
	faults   []error
	linted   bool             // the current file has no faults
	name     string           // of it
	places   *datafile.Places // in it
}

// fault records a fault at a YAML path of the current file.
func (ld *loader) fault(yamlPath, message, hint string) {
	ld.faults = append(ld.faults, ld.places.Fault(yamlPath, message, hint))
}

func (ld *loader) file(layer fs.FS, name string) {
	src, err := bound.ReadFile(layer, name)
	if err != nil {
		ld.faults = append(ld.faults, err)
		return
	}
	ld.name, ld.places, ld.linted = name, datafile.NewPlaces(name, src), datafile.Linted(layer)
	decode := func(into any) error { return datafile.Decode(name, src, into) }
	if ld.linted {
		decode = func(into any) error { return datafile.DecodeLinted(name, src, "examples", into) }
	}
	if path.Base(name) == codedName {
		var f codedFile
		if err := decode(&f); err != nil {
			ld.faults = append(ld.faults, err)
			return
		}
		ld.definitions(f)
		return
	}
	var f languageFile
	if err := decode(&f); err != nil {
		ld.faults = append(ld.faults, err)
		return
	}
	ld.language(&f)
}

func (ld *loader) definitions(f codedFile) {
	seen := map[string]bool{}
	for i, e := range f {
		at := fmt.Sprintf("$[%d].identifier", i)
		switch {
		case e.Identifier == "":
			ld.fault(fmt.Sprintf("$[%d]", i), "a statement without identifier", "give it a name in kebab-case")
			continue
		case seen[e.Identifier]:
			ld.fault(at, fmt.Sprintf("statement %s is listed twice", e.Identifier), "merge the two entries")
			continue
		}
		seen[e.Identifier] = true
		def := ld.c.byID[e.Identifier]
		if def == nil {
			if e.Title == "" {
				ld.fault(at, "a statement without title", "say in words what it means")
			}
			def = &Definition{Identifier: e.Identifier, Title: e.Title, Group: e.Group, Opposite: e.Opposite, Lasting: e.Lasting, Whole: e.Whole, OfStudy: e.OfStudy,
				Covers: Covers{e.Covers.Window, e.Covers.Structure, e.Covers.Measurand, e.Covers.Study},
				Widens: 1, Harder: e.Harder, Quality: e.Quality, Done: Done(e.Done)}
			ld.counted(def, e.Widens, fmt.Sprintf("$[%d]", i))
			ld.windows(e.Covers.Window, fmt.Sprintf("$[%d].covers.window", i))
			ld.c.byID[e.Identifier] = def
			ld.opposite(def, fmt.Sprintf("$[%d].opposite", i))
		} else if e.Group != "" && e.Group != def.Group {
			ld.fault(fmt.Sprintf("$[%d].group", i), "the group of a shipped statement cannot be changed", "leave group out")
		} else if e.Widens != nil || e.Harder != "" || e.Quality != 0 || e.Done.As != "" || e.Done.Place != 0 {
			ld.fault(at, "what a shipped statement counts for cannot be changed", "leave widens, harder, quality and done out")
		}
		for k, text := range e.Codings {
			ld.coding(def, text, fmt.Sprintf("$[%d].codings[%d]", i, k))
		}
	}
}

// counted takes the factor of a statement, and refuses what is not known of how
// studies are counted by it.
func (ld *loader) counted(def *Definition, w *widens, at string) {
	switch {
	case w == nil:
	case w.Factor <= 1:
		ld.fault(at+".widens.factor", "a factor that widens is above 1", "")
	case w.Source == "":
		ld.fault(at+".widens", "a factor without source", "name the publication, or write site choice")
	default:
		def.Widens = w.Factor
	}
	if !slices.Contains([]Harder{"", Arrhythmia, PoorWindows}, def.Harder) {
		ld.fault(at+".harder", fmt.Sprintf("unknown word %q", def.Harder), "arrhythmia or windows")
	}
	if def.Quality < 0 || def.Done.Place < 0 || (def.Done.As == "") != (def.Done.Place == 0) {
		ld.fault(at, "a place is a number from 1 on", "quality: 1, done: {as: transthoracic, place: 1}")
	}
	for _, other := range ld.c.byID {
		if def.Quality > 0 && other.Quality == def.Quality || def.Done.Place > 0 && other.Done.Place == def.Done.Place {
			ld.fault(at, fmt.Sprintf("%s has the place of %s", def.Identifier, other.Identifier), "each has one of its own")
		}
	}
}

func (ld *loader) windows(names []string, at string) {
	for k, w := range names {
		if ld.terms != nil && ld.terms.Find(term.Window, w) == nil {
			ld.fault(fmt.Sprintf("%s[%d]", at, k), fmt.Sprintf("no window is called %q", w), suggest(w, ld.terms.Ordered(term.Window)))
		}
	}
}

// coding adds a code, a question and its answer, or a finding and its site, that
// makes the statement.
func (ld *loader) coding(def *Definition, text, at string) {
	if finding, site, ok := strings.Cut(text, " @ "); ok {
		f, findingOK := coding.ParseKey(finding)
		s, siteOK := coding.ParseKey(site)
		if !findingOK || !siteOK {
			ld.fault(at, fmt.Sprintf("%q is no finding at a site", text), `write "SCHEME:finding @ SCHEME:site"`)
			return
		}
		pair := Answer{Name: f, Value: s}
		ld.c.bySite[pair] = append(ld.c.bySite[pair], def)
		return
	}
	question, answer, isAnswer := strings.Cut(text, " = ")
	key, ok := coding.ParseKey(question)
	value, valueOK := key, true
	if isAnswer {
		value, valueOK = coding.ParseKey(answer)
	}
	switch pair := (Answer{Name: key, Value: value}); {
	case !ok || !valueOK:
		ld.fault(at, fmt.Sprintf("%q is no code", text), `write "SCHEME:value", e.g. "SCT:49436004", "SCHEME:name = SCHEME:value" or "SCHEME:finding @ SCHEME:site"`)
	case isAnswer && !slices.Contains(def.Answers, pair):
		def.Answers = append(def.Answers, pair)
		ld.c.byAnswer[pair] = append(ld.c.byAnswer[pair], def)
	case !isAnswer && !slices.Contains(def.Codings, key):
		def.Codings = append(def.Codings, key)
		ld.c.byCode[key] = append(ld.c.byCode[key], def)
	}
}

// opposite links two statements that deny each other; the one that stands
// first in the file is named by the other.
func (ld *loader) opposite(def *Definition, at string) {
	if def.Opposite == "" {
		return
	}
	if ld.c.byID[def.Opposite] == nil {
		ld.fault(at, fmt.Sprintf("no statement %q stands above", def.Opposite), suggest(def.Opposite, slices.Collect(maps.Keys(ld.c.byID))))
		return
	}
	ld.c.opposites[def.Identifier], ld.c.opposites[def.Opposite] = def.Opposite, def.Identifier
}

func (ld *loader) language(f *languageFile) {
	if f.Language == "" {
		ld.fault("$", "no language given", "add e.g. language: en")
	}
	w := &ld.c.words
	for _, list := range []struct {
		key  string
		from []string
		to   *[]sequenceList
	}{
		{"before", f.Negation.Before, &w.before}, {"after", f.Negation.After, &w.after},
		{"hedges", f.Negation.Hedges, &w.hedges}, {"doubted", f.Negation.Doubted, &w.doubted}, {"harmless", f.Negation.Harmless, &w.harmless},
	} {
		for i, text := range list.from {
			sequence, err := literals(text)
			if err != nil || len(sequence) == 0 {
				ld.fault(fmt.Sprintf("$.negation.%s[%d]", list.key, i), fmt.Sprintf("%q is no sequence of words", text), "write plain words")
				continue
			}
			*list.to = append(*list.to, sequence)
		}
	}
	for _, list := range []struct {
		from []string
		to   map[string]bool
	}{{f.Negation.Until, w.until}, {f.Negation.Aside, w.aside}, {f.Negation.Through, w.through}, {f.Negation.Unclear, w.unclear}, {f.Abbreviations, w.abbreviations}} {
		for _, text := range list.from {
			list.to[Fold(text)] = true
		}
	}
	for i, v := range f.Views {
		if ld.terms != nil && ld.terms.Find(term.ImageView, v.View) == nil {
			ld.fault(fmt.Sprintf("$.views[%d].view", i), fmt.Sprintf("no image view is called %q", v.View), suggest(v.View, ld.terms.Names(term.ImageView)))
		}
		for _, p := range ld.patterns(v.Words, fmt.Sprintf("$.views[%d].words", i)) {
			w.add(&phrase{pattern: p, view: v.View})
		}
	}
	ld.graded(&f.Graded)
	ld.numbers(f.Numbers)
	ld.phrases(f)
}

func (ld *loader) phrases(f *languageFile) {
	for i, ph := range f.Phrases {
		at := fmt.Sprintf("$.phrases[%d]", i)
		def := ld.c.byID[ph.Statement]
		if def == nil {
			ld.fault(at+".statement", fmt.Sprintf("no statement is called %q", ph.Statement), suggest(ph.Statement, slices.Collect(maps.Keys(ld.c.byID))))
			continue
		}
		var unless *exceptions
		if len(ph.Unless) > 0 {
			unless = ld.exceptions(at+".unless", func() []string { return ph.Unless })
		}
		if len(ph.Words) == 0 {
			ld.fault(at+".statement", "a phrase without words", "add words: [...]")
		}
		for _, p := range ld.patterns(ph.Words, at+".words") {
			ld.c.words.add(&phrase{pattern: p, def: def, unless: unless})
		}
		stated := ld.linted
		for k, ex := range ph.Examples {
			stated = stated || ex.States
			if ex.States && ex.Negated {
				ld.fault(fmt.Sprintf("%s.examples[%d]", at, k), "an example cannot both state and deny", "keep one of states and negated")
			}
			ld.c.examples = append(ld.c.examples, example{
				file: ld.name, places: ld.places, path: fmt.Sprintf("%s.examples[%d].text", at, k),
				statement: ph.Statement, text: ex.Text, states: ex.States, negated: ex.Negated,
			})
		}
		if !stated {
			ld.fault(at+".statement", fmt.Sprintf("no example states %s", ph.Statement), `add {text: "...", states: true}`)
		}
	}
}

func (ld *loader) patterns(texts []string, at string) []*pattern {
	var out []*pattern
	for i, text := range texts {
		p, err := ld.compiler.compile(text)
		if err != nil {
			ld.fault(fmt.Sprintf("%s[%d]", at, i), fmt.Sprintf("phrase %q: %v", text, err), "see Phrases in rules/README.md")
			continue
		}
		out = append(out, p)
	}
	return out
}

// choices reads words of which one is wanted; nil when one has a fault.
func (ld *loader) choices(words []string, at string) [][]literal {
	text := strings.Join(words, "|")
	out, err := ld.compiler.choices(text)
	if err != nil {
		ld.fault(at, fmt.Sprintf("phrase %q: %v", text, err), "see Phrases in rules/README.md")
		return nil
	}
	return out
}

// phrase adds a phrase that was made of parts.
func (ld *loader) phrase(p *phrase, at string) {
	if err := p.pattern.fault(); err != nil {
		ld.fault(at, err.Error(), "see Phrases in rules/README.md")
		return
	}
	ld.c.words.add(p)
}

// exceptions are patterns that are compiled when they are needed, or now when they may
// have faults.
func (ld *loader) exceptions(at string, texts func() []string) *exceptions {
	e := &exceptions{texts: texts}
	if !ld.linted {
		e.once.Do(func() { e.patterns = ld.patterns(texts(), at) })
	}
	return e
}

func suggest(name string, known []string) string {
	if near := spelling.Nearest(name, known); near != "" {
		return "did you mean " + near + "?"
	}
	return ""
}

// CheckExamples puts every example of the phrase files to the test, but for linted
// files, of which none are read; the error joins the examples that do not come out as
// written.
func (c *Catalogue) CheckExamples() error {
	var faults []error
	for _, ex := range c.examples {
		var states, negated bool
		for _, m := range c.InText(ex.text) {
			if m.Identifier == ex.statement {
				states, negated = states || !m.Negated, negated || m.Negated
			}
		}
		if states != ex.states || ex.negated && !negated {
			faults = append(faults, ex.places.Fault(ex.path,
				fmt.Sprintf("example of %s: states %t (denies %t), expected states %t (denies %t)", ex.statement, states, negated, ex.states, ex.negated),
				"correct the words or the example"))
		}
	}
	return fault.Join(faults)
}
