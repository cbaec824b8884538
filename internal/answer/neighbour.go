package answer

import (
	"slices"
	"strings"

	"echotally/internal/term"
)

// Walls of the left ventricle in the order in which they follow each other round
// a short axis; the apical ring of the models of 16 and 17 has four.
var (
	sixWalls  = []string{"anterior", "anteroseptal", "inferoseptal", "inferior", "inferolateral", "anterolateral"}
	fourWalls = []string{"anterior", "septal", "inferior", "lateral"}
)

// AdjacentUnseenSegments is how many segments the largest patch of neighbours
// has that were not seen; 0 when all were, or nothing is said of the wall.
func (r *Reading) AdjacentUnseenSegments() float64 {
	var left []string
	for _, p := range r.wall {
		if p.term.Wall == term.WallSegment && p.moves == unseen {
			left = append(left, p.term.Name)
		}
	}
	most := 0
	for len(left) > 0 {
		patch := left[:1:1]
		left = left[1:]
		for i := 0; i < len(patch); i++ {
			left = slices.DeleteFunc(left, func(other string) bool {
				if neighbours(patch[i], other) {
					patch = append(patch, other)
					return true
				}
				return false
			})
		}
		most = max(most, len(patch))
	}
	return float64(most)
}

// neighbours reports whether two segments of the wall touch each other.
func neighbours(a, b string) bool {
	ringA, wallA := ringOf(a)
	ringB, wallB := ringOf(b)
	switch ringB - ringA {
	case 0:
		return beside(sixWalls, wallA, wallB) || beside(fourWalls, wallA, wallB)
	case 1:
		return ringB == apex || wallA == wallB || ringB == apical && strings.HasSuffix(wallA, wallB)
	case -1:
		return neighbours(b, a)
	}
	return false
}

// Rings of the wall from base to apex.
const (
	basal = iota
	mid
	apical
	apex
)

// ringOf is the ring of a segment by its name, lv-mid-inferior, and the wall.
func ringOf(name string) (ring int, wall string) {
	for i, prefix := range []string{"lv-basal-", "lv-mid-", "lv-apical-"} {
		if wall, ok := strings.CutPrefix(name, prefix); ok {
			return i, wall
		}
	}
	return apex, ""
}

// beside reports whether two walls follow each other in a ring.
func beside(ring []string, a, b string) bool {
	i, j := slices.Index(ring, a), slices.Index(ring, b)
	if i < 0 || j < 0 {
		return false
	}
	step := (i - j + len(ring)) % len(ring)
	return step == 1 || step == len(ring)-1
}
