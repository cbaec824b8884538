package answer

import "testing"

// TestNeighbours holds the neighbours against the bull's eye of seventeen
// segments (Cerqueira 2002): each segment touches two of its ring, and
// one of the ring below and above but where six walls meet four.
func TestNeighbours(t *testing.T) {
	var all []string
	for _, wall := range sixWalls {
		all = append(all, "lv-basal-"+wall, "lv-mid-"+wall)
	}
	for _, wall := range fourWalls {
		all = append(all, "lv-apical-"+wall)
	}
	all = append(all, "left-ventricular-apex")
	want := map[string]int{
		"lv-basal-anterior": 3, "lv-mid-anterior": 4, "lv-mid-anteroseptal": 4, "lv-mid-inferolateral": 4,
		"lv-apical-anterior": 4, "lv-apical-septal": 5, "lv-apical-lateral": 5, "left-ventricular-apex": 4,
	}
	for _, a := range all {
		n := 0
		for _, b := range all {
			if neighbours(a, b) != neighbours(b, a) {
				t.Errorf("%s and %s: neighbours one way only", a, b)
			}
			if neighbours(a, b) {
				n++
			}
		}
		if w, ok := want[a]; ok && n != w {
			t.Errorf("%s has %d neighbours, not %d", a, n, w)
		}
	}
}
