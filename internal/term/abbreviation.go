package term

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"echotally/internal/datafile"
)

// abbreviationFile is the name of the file in every layer.
const abbreviationFile = "abbreviations.yaml"

// WriteOut returns the words a lower-case word stands for: those of the
// abbreviation, or the word itself.
func (c *Catalogue) WriteOut(word string) []string {
	if words, ok := c.abbreviations[word]; ok {
		return words
	}
	return []string{word}
}

// readAbbreviations adds abbreviations.yaml of a layer, if it has one.
func (c *Catalogue) readAbbreviations(layer fs.FS) []error {
	src, err := datafile.ReadFile(layer, abbreviationFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return []error{fmt.Errorf("abbreviations: %w", err)}
	}
	var all map[string]string
	if err := datafile.Decode(abbreviationFile, src, &all); err != nil {
		if errors.Is(err, datafile.ErrEmpty) {
			return nil
		}
		return []error{err}
	}
	places := datafile.NewPlaces(abbreviationFile, src)
	var faults []error
	for _, word := range slices.Sorted(maps.Keys(all)) {
		words := strings.Fields(all[word])
		if word != strings.ToLower(word) || strings.ContainsAny(word, " -") || len(words) == 0 || all[word] != strings.ToLower(all[word]) {
			faults = append(faults, places.Fault("$."+word, fmt.Sprintf("abbreviation %q", word), "one lower-case word, then the lower-case words it stands for"))
			continue
		}
		c.abbreviations[word] = words
	}
	return faults
}

// Abbreviations lists, sorted, those that stand for three words or more, each of which
// is among the words given.
func (c *Catalogue) Abbreviations(words []string) []string {
	var out []string
	for short, long := range c.abbreviations {
		if len(long) > 2 && !slices.ContainsFunc(long, func(w string) bool { return !slices.Contains(words, w) }) {
			out = append(out, short)
		}
	}
	slices.Sort(out)
	return out
}
