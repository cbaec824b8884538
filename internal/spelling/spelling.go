// Package spelling owns the question which of some names was meant by a word that is none
// of them.
package spelling

import "slices"

// Nearest returns the candidate closest to word by edit distance, the first by name
// of several, "" when none is close enough to be a likely slip.
func Nearest(word string, candidates []string) string {
	best, least := "", len(word)/3+2
	var row []int // of one comparison after the other
	for _, c := range candidates {
		if len(c)-len(word) > least || len(word)-len(c) > least {
			continue
		}
		row = slices.Grow(row[:0], len(c)+1)[:len(c)+1]
		if d := editDistance(word, c, row); d < least || d == least && best != "" && c < best {
			best, least = c, d
		}
	}
	return best
}

// editDistance is the Levenshtein distance over bytes; names here are ASCII. The row
// has a place more than b has bytes.
func editDistance(a, b string, row []int) int {
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
