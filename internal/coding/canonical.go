package coding

import (
	_ "embed"
	"encoding/csv"
	"strings"
)

//go:embed srt_to_sct.csv
var legacyTable string

//go:embed editions.csv
var editionsTable string

// legacy maps an SRT identifier to its SNOMED CT number.
var legacy = func() map[string]string {
	m := map[string]string{}
	for _, row := range readTable(legacyTable) {
		m[row[0]] = row[1]
	}
	return m
}()

// change is a code of an earlier edition of PS3.16 and the current one; both are
// free of legacy identifiers.
type change struct{ earlier, now Key }

// editions lists the changes by the earlier code value, which is quicker to look up
// than a key.
var editions = func() map[string][]change {
	m := map[string][]change{}
	for _, row := range readTable(editionsTable) {
		m[row[1]] = append(m[row[1]], change{
			Key{CodeValue: row[1], CodingSchemeDesignator: row[0]}, Key{CodeValue: row[3], CodingSchemeDesignator: row[2]},
		})
	}
	return m
}()

// changed tells by the ending of a code value whether editions may know it: most they
// do not, and keys are asked for all the time.
var changed = func() (out [256]bool) {
	for value := range editions {
		out[ending(value)] = true
	}
	return out
}()

// ending is a hash of the length and the last bytes of a code value.
func ending(value string) uint8 {
	n := len(value)
	if n < 3 {
		return uint8(n)
	}
	return uint8((uint32(n) + uint32(value[n-1])*31 + uint32(value[n-2])*31*31 + uint32(value[n-3])*31*31*31) * 0x9E3779B1 >> 24)
}

// designators settles the spelling of coding scheme designators (PS3.16
// Section 8). Private and unknown ones are left as written. All names SNOMED
// ever had in DICOM lead to snomed, where the value decides.
var designators = map[string]string{
	"SRT": snomed, "SNM3": snomed, "SNM": snomed, "99SDM": snomed, "SNOMED-RT": snomed, "SNOMED RT": snomed,
	"SCT": snomed, "SNOMED-CT": snomed, "SNOMED CT": snomed, "SNOMEDCT": snomed, "SNOMED": snomed,
	"LN": "LN", "LOINC": "LN",
	"DCM": "DCM", "UCUM": "UCUM", "UMLS": "UMLS", "NCIT": "NCIt", "NDC": "NDC", "MDC": "MDC", "IBSI": "IBSI", "FMA": "FMA",
}

const snomed = "SCT"

// readTable reads an embedded table and drops its heading. The tables are part
// of the program and read when it starts, so no test of any command passes with a
// fault in them.
func readTable(text string) [][]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		panic("internal error: embedded code table cannot be read")
	}
	return rows[1:]
}

// Key returns the canonical identity of the concept: designator spelling
// settled, legacy SNOMED identifiers as SCT numbers, codes of earlier editions
// of PS3.16 as the current ones.
func (c CodedConcept) Key() Key {
	k := settle(c)
	if !changed[ending(k.CodeValue)] {
		return k
	}
	for _, c := range editions[k.CodeValue] {
		if c.earlier == k {
			return c.now
		}
	}
	return k
}

// Standard returns the concept with a legacy SNOMED identifier, or a SNOMED CT
// number under another name of the scheme, as a concept of scheme SCT; other
// concepts come back unchanged, and so do legacy identifiers the table does not
// know. Edition changes are not applied: they are part of [CodedConcept.Key].
func (c CodedConcept) Standard() CodedConcept {
	if c.CodingSchemeDesignator == snomed && isNumber(c.CodeValue) {
		return c
	}
	k := settle(c)
	if k.CodingSchemeDesignator != snomed {
		return c
	}
	if clean(c.CodingSchemeDesignator) != snomed {
		c.CodingSchemeVersion = "" // it was the version of the legacy scheme
	}
	c.CodeValue, c.CodingSchemeDesignator = k.CodeValue, k.CodingSchemeDesignator
	return c
}

// settle gives the key without edition changes.
func settle(c CodedConcept) Key {
	k := Key{CodeValue: clean(c.CodeValue), CodingSchemeDesignator: clean(c.CodingSchemeDesignator)}
	switch k.CodingSchemeDesignator { // nearly all are written as they should be
	case "DCM", "LN", "UCUM":
		return k
	case snomed:
		if isNumber(k.CodeValue) {
			return k
		}
	}
	known, ok := designators[strings.ToUpper(k.CodingSchemeDesignator)]
	if !ok {
		return k
	}
	k.CodingSchemeDesignator = known
	if known != snomed || isNumber(k.CodeValue) {
		return k
	}
	id := strings.ToUpper(k.CodeValue)
	if number, ok := legacy[id]; ok {
		return Key{CodeValue: number, CodingSchemeDesignator: snomed}
	}
	return Key{CodeValue: id, CodingSchemeDesignator: "SRT"}
}

// clean drops the padding DICOM allows around a value and the NUL some writers
// pad with.
func clean(s string) string {
	if s != "" && s[0] > ' ' && s[len(s)-1] > ' ' {
		return s
	}
	return strings.Trim(s, " \x00\t\r\n")
}

func isNumber(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}
