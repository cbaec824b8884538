package statement

import (
	"slices"
	"strings"
	"testing"

	"echotally/rules"
)

// shipped loads the phrase files that come with the program.
func shipped(t testing.TB) *Catalogue {
	t.Helper()
	c, err := Load(nil, rules.FS)
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
		{"Insuffisance tricuspide sévère", nil},
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
