package accreditation

import "fmt"

// covered also asks that the work of every member of the staff is among the
// studies.
func (w *work) covered(role string, f finding) finding {
	seen, all := map[string]bool{}, 0
	for i := range w.m.Studies {
		seen[personOf(&w.m.Studies[i], role)] = true
	}
	missing := 0
	for who, is := range w.m.Staff {
		if is == role || role == "sonographer" && is == "trainee" {
			all++
			if !seen[who] {
				missing++
			}
		}
	}
	switch {
	case all == 0:
		f.shown, f.gap = false, join(f.gap, "nobody is on the lab's list as "+role+" (echotally intake --roster)")
	case missing > 0:
		f.shown, f.gap = false, join(f.gap, fmt.Sprintf("of %d of %d on the list as %s there is no study", missing, all, role))
	default:
		w.say("studies of all %d on the list as %s are among them", all, role)
	}
	return f
}
