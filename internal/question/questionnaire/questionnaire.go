// Package questionnaire owns the list of all questions: what is asked of the study as a
// whole, of what was measured and said, of images, the wall, the person and the earlier
// study, each with its words. What a question is stands in package question.
package questionnaire

import (
	"sync"

	"echotally/internal/question"
	"echotally/internal/ucum"
)

// Find returns the question of a name, nil when there is none.
func Find(name string) *question.Question { return table().byName[name] }

// All lists the questions in the order they are documented in.
func All() []*question.Question { return table().all }

// Asked lists the names of the questions that can be asked of a subject.
func Asked(of question.Subject) []string {
	var out []string
	for _, q := range All() {
		if q.AskedOf(of) {
			out = append(out, q.Name)
		}
	}
	return out
}

type questions struct {
	all    []*question.Question
	byName map[string]*question.Question
}

var table = sync.OnceValue(func() questions {
	t, units := questions{byName: map[string]*question.Question{}}, map[string]ucum.Unit{}
	for _, group := range [][]question.Question{ofStudy(), ofMeasured(), ofSaid(), ofSubject(), ofEarlierStudy(), ofWall(), ofImageOfValue()} {
		for i := range group {
			q := &group[i]
			t.all = append(t.all, q)
			t.byName[q.Name] = q
			if _, ok := units[q.UnitCode]; !ok && q.UnitCode != "" {
				units[q.UnitCode], _ = ucum.Parse(q.UnitCode) // a test parses them all
			}
			q.InCode = units[q.UnitCode]
		}
	}
	return t
})
