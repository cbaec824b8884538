package echo_test

import (
	"slices"
	"testing"

	"echotally/internal/echo"
)

func TestIdentitiesThatContradict(t *testing.T) {
	who := func(name, id, birth string) echo.Identity {
		return echo.Identity{PatientName: echo.Protected(name), PatientID: echo.Protected(id), BirthDate: echo.Protected(birth)}
	}
	first := who("Vordimb^Ilsora", "W0012", "19500211")
	for name, c := range map[string]struct {
		other echo.Identity
		want  []echo.Attribute
	}{
		"the same":                        {first, nil},
		"nothing said":                    {echo.Identity{}, nil},
		"padded, in capitals":             {who("VORDIMB^ILSORA^^ ", "12 ", "19500211"), nil},
		"given name first":                {who("Ilsora^Vordimb", "W0012", "19500211"), nil},
		"a middle name, another number":   {who("Vordimb^Ilsora Mevka", "X77", "19500211"), nil},
		"married":                         {who("Zelarro^Ilsora", "W0012", "19500211"), nil},
		"another name and number":         {who("Quinellit^Tarvo", "W9999", "19500211"), []echo.Attribute{echo.OfName, echo.OfPatientID}},
		"another number, no birth date":   {who("Vordimb^Ilsora", "W9999", ""), []echo.Attribute{echo.OfPatientID}},
		"another birth date":              {who("Vordimb^Ilsora", "W0012", "19510211"), []echo.Attribute{echo.OfBirthDate}},
		"a birth date that means unknown": {who("Vordimb^Ilsora", "W0012", "19000101"), nil},
		"only the year of birth":          {who("Vordimb^Ilsora", "W0012", "1951"), nil},
	} {
		if got := first.Contradicts(c.other); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
	if got := who("Gäründe^Élindre", "1", "").Contradicts(who("GAERUENDE^Elindre", "1", "")); got != nil {
		t.Errorf("an umlaut written out: %v", got)
	}
	if got := who("Yamada^Tarou=山田^太郎", "1", "").Contradicts(who("山田^太郎", "1", "")); got != nil {
		t.Errorf("the name in another script: %v", got)
	}
	if got := who("Yamada^Tarou", "1", "").Contradicts(who("山田^太郎", "1", "")); got != nil {
		t.Errorf("only in another script: %v", got)
	}
	other := first
	other.PatientID, other.IssuerOfPatientID, other.BirthDate = "W9999", "B", ""
	mine := first
	mine.IssuerOfPatientID = "A"
	if got := mine.Contradicts(other); got != nil {
		t.Errorf("numbers of two issuers: %v", got)
	}
}
