package statement

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/coding"
	"echotally/internal/datafile"
	"echotally/rules"
)

// shipped loads the phrase files that come with the program, with their examples.
func shipped(t testing.TB) *Catalogue {
	t.Helper()
	c, err := Load(nil, datafile.Unlinted(rules.FS))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestExamplesOfThePhraseFiles(t *testing.T) {
	c := shipped(t)
	if len(c.examples) < 300 {
		t.Errorf("only %d examples", len(c.examples))
	}
	if err := c.CheckExamples(); err != nil {
		t.Error(err)
	}
}

// Linted files, of which no examples are read and exceptions are compiled late, find the same.
func TestLintedFilesFindTheSame(t *testing.T) {
	all := shipped(t)
	linted, err := Load(nil, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	if len(linted.examples) > 0 {
		t.Errorf("%d examples of linted files", len(linted.examples))
	}
	excepted := 0
	for _, ex := range all.examples {
		want := all.InText(ex.text)
		if got := linted.InText(ex.text); !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %v, want %v", ex.text, got, want)
		}
		if !ex.states {
			excepted++
		}
	}
	if excepted < 100 {
		t.Errorf("only %d examples of what is not stated", excepted)
	}
	if got, want := linted.Vocabulary(), all.Vocabulary(); !reflect.DeepEqual(got, want) {
		t.Error("another vocabulary")
	}
}

// Sentences of the kind sonographers write, with every statement they make;
// "-" before a name means denied, "@view" the view named beside it.
func TestSentences(t *testing.T) {
	c := shipped(t)
	tests := []struct {
		text string
		want []string
	}{
		{"", nil},
		{"No TR, MR or AR.", []string{"tricuspid-regurgitation-absent", "-tricuspid-regurgitation", "-mitral-regurgitation", "mitral-regurgitation-absent", "aortic-regurgitation-absent", "-aortic-regurgitation"}},
		{"No pericardial effusion, sinus rhythm.", []string{"pericardial-effusion-absent", "-pericardial-effusion"}},
		{"No pericardial effusion. Sinus rhythm.", []string{"pericardial-effusion-absent", "-pericardial-effusion", "sinus-rhythm"}},
		{"Moderate MR and mild TR.", []string{"mitral-regurgitation-moderate", "mitral-regurgitation", "tricuspid-regurgitation-mild", "tricuspid-regurgitation"}},
		{"Mild to moderate TR.", []string{"tricuspid-regurgitation-mild-to-moderate", "tricuspid-regurgitation"}},
		{"No evidence of\ntricuspid regurgitation", []string{"tricuspid-regurgitation-absent", "-tricuspid-regurgitation"}},
		{"No TR but moderate MR.", []string{"tricuspid-regurgitation-absent", "-tricuspid-regurgitation", "mitral-regurgitation-moderate", "mitral-regurgitation"}},
		{"Rule out tamponade; AF?", nil},
		{"No severe TR.", []string{"-tricuspid-regurgitation-severe"}},
		{"Eccentric TR jet in A4C.", []string{"tricuspid-regurgitation-jet-eccentric@apical-four-chamber", "tricuspid-regurgitation@apical-four-chamber"}},
		{"TR Vmax 2.9 m/s. Sinus rhythm 68/min.", []string{"tricuspid-regurgitation", "sinus-rhythm"}},
		{"INSUFFISANCE TRICUSPIDE SÉVÈRE", []string{"tricuspid-regurgitation-severe", "tricuspid-regurgitation"}},
		{"Kein Hinweis auf TR.", []string{"-tricuspid-regurgitation", "tricuspid-regurgitation-absent"}},
		{"Pericardial effusion 8 mm. Sinus rhythm.", []string{"pericardial-effusion", "sinus-rhythm"}},
		{"History of AF, now sinus rhythm", []string{"sinus-rhythm"}},
		{"No more than mild TR.", []string{"tricuspid-regurgitation-mild", "tricuspid-regurgitation"}},
		{"TR jet not measurable in A4C.", []string{"tricuspid-regurgitation-signal-incomplete@apical-four-chamber"}},
		{"IVC not seen, hepatic veins normal.", []string{"inferior-vena-cava-not-seen", "hepatic-vein-normal"}},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			var got []string
			for _, m := range c.InText(tt.text) {
				s := m.Identifier
				if m.Negated {
					s = "-" + s
				}
				if m.ImageView != "" {
					s += "@" + m.ImageView
				}
				if !strings.HasPrefix(s, "-") || !strings.Contains(s, "-absent") { // implied, see TestOpposites
					got = append(got, s)
				}
			}
			slices.Sort(got)
			slices.Sort(tt.want)
			if !slices.Equal(got, tt.want) {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
		})
	}
}

func TestOpposites(t *testing.T) {
	c := shipped(t)
	for _, tt := range []struct {
		text, identifier string
		negated          bool
	}{
		{"No MR.", "mitral-regurgitation-absent", false},
		{"No MR.", "mitral-regurgitation", true},
		{"MR jet into the atrium.", "mitral-regurgitation-absent", true},
		{"Pericardial effusion: none.", "pericardial-effusion-absent", false},
	} {
		if !slices.ContainsFunc(c.InText(tt.text), func(m Match) bool { return m.Identifier == tt.identifier && m.Negated == tt.negated }) {
			t.Errorf("%q does not give %s (negated %t): %+v", tt.text, tt.identifier, tt.negated, c.InText(tt.text))
		}
	}
}

func TestFaultsInPhraseFiles(t *testing.T) {
	const coded = "- {identifier: sinus-rhythm, title: Sinus rhythm}\n"
	tests := []struct {
		name, coded, en, want string
	}{
		{"unknown statement", coded, "language: en\nphrases:\n  - {statement: sinus-rythm, words: [x], examples: [{text: x, states: true}]}\n", "did you mean sinus-rhythm?"},
		{"unknown key", coded, "language: en\nphrase: []\n", "did you mean phrases?"},
		{"open bracket", coded, "language: en\nphrases:\n  - {statement: sinus-rhythm, words: ['(a|b'], examples: [{text: a, states: true}]}\n", "bracket is not closed"},
		{"gap at the end", coded, "language: en\nphrases:\n  - {statement: sinus-rhythm, words: ['a ~'], examples: [{text: a, states: true}]}\n", "between words"},
		{"star inside a word", coded, "language: en\nphrases:\n  - {statement: sinus-rhythm, words: ['a*b'], examples: [{text: a, states: true}]}\n", "final *"},
		{"no example", coded, "language: en\nphrases:\n  - {statement: sinus-rhythm, words: [a]}\n", "no example states"},
		{"no words", coded, "language: en\nphrases:\n  - {statement: sinus-rhythm, examples: [{text: a, states: true}]}\n", "without words"},
		{"no language", coded, "phrases: []\n", "no language"},
		{"twice", coded + coded, "language: en\n", "listed twice"},
		{"no code", "- {identifier: a, title: A, codings: [\"64730000\"]}\n", "language: en\n", "is no code"},
		{"factor that narrows", "- {identifier: a, title: A, widens: {factor: 0.5, source: site choice}}\n", "language: en\n", "above 1"},
		{"factor without source", "- {identifier: a, title: A, widens: {factor: 2}}\n", "language: en\n", "without source"},
		{"unknown hardness", "- {identifier: a, title: A, harder: obesity}\n", "language: en\n", "arrhythmia or windows"},
		{"two of one quality", "- {identifier: a, title: A, quality: 1}\n- {identifier: b, title: B, quality: 1}\n", "language: en\n", "b has the place of a"},
		{"a way without place", "- {identifier: a, title: A, done: {as: stress}}\n", "language: en\n", "from 1 on"},
		{"unknown opposite", "- {identifier: a, title: A, opposite: b}\n", "language: en\n", "no statement \"b\" stands above"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Load(nil, fstest.MapFS{"phrases/coded.yaml": {Data: []byte(tt.coded)}, "phrases/en.yaml": {Data: []byte(tt.en)}})
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one that says %q", err, tt.want)
			}
		})
	}
}

// A site adds words and codes to a shipped statement, and statements of its own.
func TestSiteFilesAdd(t *testing.T) {
	site := fstest.MapFS{
		"phrases/coded.yaml": {Data: []byte("- {identifier: sinus-rhythm, codings: [\"99LAB:SR\"]}\n- {identifier: lab-note, title: Note of the lab}\n")},
		"phrases/en.yaml":    {Data: []byte("language: en\nphrases:\n  - {statement: lab-note, words: [seen by us], examples: [{text: Seen by us., states: true}]}\n")},
	}
	c, err := Load(nil, datafile.Unlinted(rules.FS), site)
	if err != nil {
		t.Fatal(err)
	}
	if d := c.ByCode(coding.Key{CodeValue: "SR", CodingSchemeDesignator: "99LAB"}); len(d) != 1 || d[0].Identifier != "sinus-rhythm" {
		t.Errorf("code of the site gives %v", d)
	}
	if m := c.InText("Seen by us."); len(m) != 1 || m[0].Identifier != "lab-note" {
		t.Errorf("words of the site give %v", m)
	}
	if err := c.CheckExamples(); err != nil {
		t.Error(err)
	}
}

// Every statement can be made by English words, but for those that are made by
// where a comment stands.
func TestEveryStatementCanBeMade(t *testing.T) {
	c := shipped(t)
	inWords := map[string]bool{}
	for _, ex := range c.examples {
		inWords[ex.statement] = inWords[ex.statement] || ex.states && ex.file == "phrases/en.yaml"
	}
	for _, d := range c.Definitions {
		if !inWords[d.Identifier] && d.Identifier != ReasonRecorded && d.Identifier != IndicationRecorded {
			t.Errorf("%s has no English words", d.Identifier)
		}
	}
}

func FuzzInText(f *testing.F) {
	c := shipped(f)
	for _, ex := range c.examples {
		f.Add(ex.text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, m := range c.InText(text) {
			if c.Find(m.Identifier) == nil || m.Quote == "" {
				t.Fatalf("%+v", m)
			}
		}
	})
}
