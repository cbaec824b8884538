package extract_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"echotally/internal/extract"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// person is a report of a woman of 75 with what is changed in header and content.
func person(t *testing.T, uid string, changed ...string) *sr.Document {
	t.Helper()
	lines := map[string]string{
		"00080018": uid, "00080020": "20250302", "00080023": "20250302", "00100010": "Vordimb^Ilsora", "00100020": "W12", "00100030": "19500211",
		"00100040": "F", "00101010": "075Y", "00101020": "1.62", "00101030": "60",
		"sex": "F", "birth": "19500211", "age": "75 a", "height": "162 cm", "weight": "60 kg",
	}
	for _, c := range changed {
		k, v, _ := strings.Cut(c, "=")
		lines[k] = v
	}
	var b strings.Builder
	for k, v := range lines {
		if strings.HasPrefix(k, "00") {
			fmt.Fprintf(&b, "header %s = %s\n", k, v)
		}
	}
	fmt.Fprintf(&b, `container DCM:125200
  contains container DCM:121118
    contains code DCM:121032 = DCM:%s
    contains date DCM:121031 = %s
    contains num DCM:121033 = %s
    contains num LN:8302-2 = %s
    contains num LN:29463-7 = %s
`, lines["sex"], lines["birth"], lines["age"], lines["height"], lines["weight"])
	return srtest.Document(t, b.String())
}

func TestStudiesThatContradictThemselves(t *testing.T) {
	one := func(changed ...string) func(*testing.T) []*sr.Document {
		return func(t *testing.T) []*sr.Document { return []*sr.Document{person(t, "1.1", changed...)} }
	}
	two := func(changed ...string) func(*testing.T) []*sr.Document {
		return func(t *testing.T) []*sr.Document {
			return []*sr.Document{person(t, "1.1"), person(t, "1.2", changed...)}
		}
	}
	for name, tt := range map[string]struct {
		docs func(*testing.T) []*sr.Document
		want string
	}{
		"nothing":                       {one(), ""},
		"sex":                           {one("sex=M"), "sex/report"},
		"birth date":                    {one("birth=19620315"), "birthDate/report"},
		"age in the content":            {one("age=84 a"), "age/report"},
		"age a year off":                {one("age=76 a"), ""},
		"age in the header":             {one("00101010=066Y", "age=66 a"), "age/report"},
		"no birth date, two ages":       {one("00100030=", "birth=", "age=60 a"), "age/report"},
		"height":                        {one("height=147 cm"), "height/report"},
		"height as good as the same":    {one("height=165 cm"), ""},
		"height in another unit":        {one("00101020=162"), ""},
		"weight":                        {one("weight=85 kg"), "weight/report"},
		"content a year before":         {one("00080023=20240302"), "contentDate/report"},
		"content the day before":        {one("00080023=20250301"), ""},
		"content a year later":          {one("00080023=20260302"), ""},
		"identity removed":              {one("00120062=YES", "birth=19620315", "00100010=ANONYMOUS"), ""},
		"two reports":                   {two(), ""},
		"name and number of the second": {two("00100010=Quinellit^Tarvo", "00100020=W99"), "name/objects patientID/objects"},
		"birth date of the second":      {two("00100030=19480413", "birth=19480413", "00101010=076Y", "age=76 a"), "birthDate/objects"},
		"height of the second":          {two("00101020=1.48", "height=148 cm"), "height/objects"},
		"study date of the second":      {two("00080020=20240302", "00101010=074Y", "age=74 a"), "studyDate/objects"},
	} {
		t.Run(name, func(t *testing.T) {
			s := extract.Study(tt.docs(t), catalogues(t))
			var got []string
			for _, c := range s.Contradictions {
				got = append(got, string(c.Of)+"/"+string(c.Within))
			}
			slices.Sort(got)
			if strings.Join(got, " ") != tt.want {
				t.Errorf("got %v, want %s", got, tt.want)
			}
		})
	}
}
