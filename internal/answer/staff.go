package answer

import (
	"echotally/internal/echo"
)

// CountReaders is how many persons are named as having read or verified the
// study. A ledger keeps people by their pseudonyms.
func (r *Reading) CountReaders() float64 {
	named := map[string]bool{}
	for i := range r.Study.Documents {
		for _, p := range r.Study.Documents[i].Staff {
			if p.Task == echo.ReadIt || p.Task == echo.Verified {
				named[string(p.Name)+p.Pseudonym] = true
			}
		}
	}
	return float64(len(named))
}

// SoftwareNamed asks whether the maker of the device and the version of its
// software stand beside the value that counts.
func (b *Binding) SoftwareNamed() float64 {
	m := b.Chosen.Measurement
	if m == nil && len(b.Items) > 0 {
		m = b.Items[0].Measurement
	}
	return truth(m != nil && m.Equipment.Manufacturer != "" && m.Equipment.SoftwareVersions != "")
}
