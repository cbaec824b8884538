// Package abbreviation owns the abbreviations of the trade: the words each stands for.
package abbreviation

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
)

// file is its name in every layer.
const file = "abbreviations.yaml"

// Table holds abbreviations by their lower-case word. The zero Table has none.
type Table struct{ words map[string][]string }

// WriteOut returns the words a lower-case word stands for: those of the
// abbreviation, or the word itself.
func (t *Table) WriteOut(word string) []string {
	if words, ok := t.words[word]; ok {
		return words
	}
	return []string{word}
}

// Read adds abbreviations.yaml of a layer, if it has one.
func (t *Table) Read(layer fs.FS) []error {
	src, err := bound.ReadFile(layer, file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return []error{fmt.Errorf("abbreviations: %w", err)}
	}
	var all map[string]string
	if err := datafile.Decode(file, src, &all); err != nil {
		if errors.Is(err, datafile.ErrEmpty) {
			return nil
		}
		return []error{err}
	}
	places := datafile.NewPlaces(file, src)
	var faults []error
	for _, word := range slices.Sorted(maps.Keys(all)) {
		words := strings.Fields(all[word])
		if word != strings.ToLower(word) || strings.ContainsAny(word, " -") || len(words) == 0 || all[word] != strings.ToLower(all[word]) {
			faults = append(faults, places.Fault("$."+word, fmt.Sprintf("abbreviation %q", word), "one lower-case word, then the lower-case words it stands for"))
			continue
		}
		if t.words == nil {
			t.words = map[string][]string{}
		}
		t.words[word] = words
	}
	return faults
}

// Abbreviations lists, sorted, those that stand for three words or more, each of which
// is among the words given.
func (t *Table) Abbreviations(words []string) []string {
	var out []string
	for short, long := range t.words {
		if len(long) > 2 && !slices.ContainsFunc(long, func(w string) bool { return !slices.Contains(words, w) }) {
			out = append(out, short)
		}
	}
	slices.Sort(out)
	return out
}
