package coding

import "strings"

// CheckDigit reports whether the code carries a right check digit, for the two
// schemes that have one: LOINC (mod 10, LOINC Users' Guide) and SNOMED CT
// (Verhoeff, SNOMED CT Technical Implementation Guide). It catches mistyped
// codes in data files; codes of other schemes are always right.
func (k Key) CheckDigit() bool {
	switch k.CodingSchemeDesignator {
	case "LN":
		number, digit, ok := strings.Cut(k.CodeValue, "-")
		return ok && isNumber(number) && len(digit) == 1 && digit[0] == luhn(number)
	case snomed:
		return isNumber(k.CodeValue) && len(k.CodeValue) >= 6 && verhoeff(k.CodeValue)
	}
	return true
}

// luhn returns the mod 10 check digit of a number.
func luhn(number string) byte {
	sum := 0
	for i := range len(number) {
		d := int(number[len(number)-1-i] - '0')
		if i%2 == 0 {
			d = d*2/10 + d*2%10
		}
		sum += d
	}
	return byte('0' + (10-sum%10)%10)
}

// verhoeff reports whether the last digit of the number is its check digit in
// the dihedral group D5. The permutation table is built from its first row.
func verhoeff(number string) bool {
	permutation := [10]int{1, 5, 7, 6, 2, 8, 3, 0, 9, 4}
	check := 0
	for i := range len(number) {
		d := int(number[len(number)-1-i] - '0')
		for range i % 8 {
			d = permutation[d]
		}
		check = dihedral(check, d)
	}
	return check == 0
}

// dihedral multiplies in D5: 0-4 are rotations, 5-9 reflections.
func dihedral(a, b int) int {
	switch {
	case a < 5 && b < 5:
		return (a + b) % 5
	case a < 5:
		return 5 + (a+b-5)%5
	case b < 5:
		return 5 + (a-5-b+5)%5
	}
	return (a - b + 5) % 5
}
