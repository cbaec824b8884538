package sr_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

const small = `
container DCM:125200 "Adult Echocardiography Procedure Report"
  obs code DCM:121005 "Observer Type" = DCM:121006 "Person"
  obs pname DCM:121008 "Person Observer Name" = Marker^Person
  obs code DCM:121011 "Role in Procedure" = SCT:3430008 "Sonographer"
  contains container DCM:111028 "Image Library"
    contains image = 1.2.3.4 frame 7,9
  contains container DCM:121070 "Findings"
    obs code DCM:121005 "Observer Type" = DCM:121007 "Device"
    obs uidref DCM:121012 "Device Observer UID" = 2.25.7
    obs text DCM:121013 "Device Observer Name" = Workstation one
    mod code SCT:363698007 "Finding Site" = SCT:46030003 "Tricuspid valve"
    contains num LN:11726-7 "Peak velocity" = 2.80 m/s fd 2.8 rational 28/10 @20260102101500
      inferred ref 1.4.1
      inferred scoord = POLYLINE
        selected ref 1.4.1
    contains num LN:11726-7 "Peak velocity" = 2.8\2.9 m/s
    contains num LN:11726-7 "Peak velocity" = - m/s DCM:114006
`

func TestContentTree(t *testing.T) {
	doc := srtest.Document(t, small)
	var got []string
	sr.Walk(&doc.ContentItem, func(item *sr.ContentItem, ancestors []*sr.ContentItem) bool {
		got = append(got, fmt.Sprintf("%s %d %s %s", item.Identifier, len(ancestors), item.RelationshipType, item.ValueType))
		return true
	})
	want := []string{
		"1 0  CONTAINER", "1.1 1 HAS OBS CONTEXT CODE", "1.2 1 HAS OBS CONTEXT PNAME", "1.3 1 HAS OBS CONTEXT CODE",
		"1.4 1 CONTAINS CONTAINER", "1.4.1 2 CONTAINS IMAGE", "1.5 1 CONTAINS CONTAINER",
		"1.5.1 2 HAS OBS CONTEXT CODE", "1.5.2 2 HAS OBS CONTEXT UIDREF", "1.5.3 2 HAS OBS CONTEXT TEXT",
		"1.5.4 2 HAS CONCEPT MOD CODE", "1.5.5 2 CONTAINS NUM", "1.5.5.1 3 INFERRED FROM ", "1.5.5.2 3 INFERRED FROM SCOORD",
		"1.5.5.2.1 4 SELECTED FROM ", "1.5.6 2 CONTAINS NUM", "1.5.7 2 CONTAINS NUM",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestMeasuredValue(t *testing.T) {
	doc := srtest.Document(t, small)
	full := doc.Find(sr.ItemIdentifier{1, 5, 5})
	mv := full.MeasuredValue
	if mv.NumericValue != "2.80" || *mv.FloatingPoint != 2.8 || *mv.Numerator != 28 || *mv.Denominator != 10 || mv.Units.CodeValue != "m/s" {
		t.Errorf("measured value %+v", mv)
	}
	if full.ObservationDateTime != "20260102101500" {
		t.Errorf("observation time %q", full.ObservationDateTime)
	}
	if mv := doc.Find(sr.ItemIdentifier{1, 5, 6}).MeasuredValue; mv.NumericValue != "2.8" || !slices.Equal(mv.ExtraValues, []string{"2.9"}) {
		t.Errorf("two values: %+v", mv)
	}
	if mv := doc.Find(sr.ItemIdentifier{1, 5, 7}).MeasuredValue; mv.NumericValue != "" || mv.Qualifier == nil || mv.Qualifier.CodeValue != "114006" {
		t.Errorf("no value: %+v", mv)
	}
}

func TestImagesByValueAndByReference(t *testing.T) {
	doc := srtest.Document(t, small)
	uses := sr.Images(doc.Find(sr.ItemIdentifier{1, 5, 5}))
	if len(uses) != 2 {
		t.Fatalf("%d images, want the whole image and the one under the coordinates", len(uses))
	}
	for i, graphic := range []string{"", "POLYLINE"} {
		u := uses[i]
		if u.SOPInstanceUID != "1.2.3.4" || !slices.Equal(u.Frames, []int{7, 9}) || u.GraphicType != graphic {
			t.Errorf("image %d: %+v", i, u)
		}
	}
}

// TID 1001: a section that names its own observer discards the inherited one.
func TestObservationContext(t *testing.T) {
	doc := srtest.Document(t, small)
	root := &doc.ContentItem
	if got := doc.ContextOf(root, nil).Observers; len(got) != 1 || got[0].Device || got[0].String() != "Sonographer" {
		t.Errorf("root: %v", got)
	}
	section := doc.Find(sr.ItemIdentifier{1, 5})
	item := doc.Find(sr.ItemIdentifier{1, 5, 5})
	got := doc.ContextOf(item, []*sr.ContentItem{root, section}).Observers
	if len(got) != 1 || !got[0].Device || got[0].UID != "2.25.7" || got[0].Name != "Workstation one" {
		t.Errorf("section: %#v", got)
	}
	library := doc.Find(sr.ItemIdentifier{1, 4})
	if got := doc.ContextOf(library, []*sr.ContentItem{root}).Observers; len(got) != 1 || got[0].Name != "Marker^Person" {
		t.Errorf("library does not inherit the person")
	}
}

func TestReferences(t *testing.T) {
	tests := []struct {
		name, tree, at, detail string
	}{
		{"dangling", "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred ref 1.9", "1.1.1", "does not exist"},
		{"outside the root", "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred ref 2", "1.1.1", "does not exist"},
		{"to a reference", "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred ref 1.1.2\n    inferred ref 1.1", "1.1.1", "itself a reference"},
		{"to its own ancestor", "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred ref 1.1", "1.1.1", "closes a loop"},
		{"two items to each other", "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred ref 1.2\n  contains num LN:2 = 1 cm\n    inferred ref 1.1", "1.2.1", "closes a loop"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			doc := srtest.Document(t, tt.tree)
			if !slices.ContainsFunc(doc.Deviations, func(d sr.Deviation) bool { return d.Item == tt.at && strings.Contains(d.Detail, tt.detail) }) {
				t.Errorf("no deviation at %s saying %q in %+v", tt.at, tt.detail, doc.Deviations)
			}
			sr.Walk(&doc.ContentItem, func(item *sr.ContentItem, _ []*sr.ContentItem) bool {
				if item.Identifier.String() == tt.at && item.Referenced != nil {
					t.Error("the reference was followed")
				}
				return true
			})
		})
	}
}

// A chain of references as long as the file must not use up the stack.
func TestLongChainOfReferences(t *testing.T) {
	const n = 50_000
	children := make([]dcm.Dataset, n)
	for i := range children {
		children[i] = dcm.New(
			dcm.Strings(dcm.T(0x0040A010), "CONTAINS"), dcm.Strings(dcm.T(0x0040A040), "CONTAINER"),
			dcm.Sequence(dcm.T(0x0040A730), dcm.New(dcm.Strings(dcm.T(0x0040A010), "CONTAINS"), dcm.Ints(dcm.T(0x0040DB73), 1, i+2))))
	}
	d := srtest.Report(t, "container DCM:1")
	d.Set(dcm.Sequence(dcm.T(0x0040A730), children...))
	doc, err := sr.Parse(&dcm.File{Dataset: d})
	if err != nil {
		t.Fatal(err)
	}
	if doc.ContentItem.ContentItems[0].ContentItems[0].Referenced != &doc.ContentItem.ContentItems[1] {
		t.Error("the first reference does not lead to the second item")
	}
}

func TestDepthIsBounded(t *testing.T) {
	inner := dcm.New(dcm.Strings(dcm.T(0x0040A040), "CONTAINER"))
	for range 400 {
		inner = dcm.New(dcm.Strings(dcm.T(0x0040A010), "CONTAINS"), dcm.Strings(dcm.T(0x0040A040), "CONTAINER"), dcm.Sequence(dcm.T(0x0040A730), inner))
	}
	d := srtest.Report(t, "container DCM:1")
	d.Set(dcm.Sequence(dcm.T(0x0040A730), inner))
	doc, err := sr.Parse(&dcm.File{Dataset: d})
	if err != nil {
		t.Fatal(err)
	}
	if len(doc.Losses) != 1 || !strings.Contains(doc.Losses[0].Reason, "deeper") {
		t.Errorf("losses %+v", doc.Losses)
	}
}

func TestRefused(t *testing.T) {
	tests := []struct {
		name, want string
		change     func(*dcm.Dataset)
	}{
		{"no SOP class", "SOP Class UID", func(d *dcm.Dataset) { d.Remove(dcm.T(0x00080016)) }},
		{"an image", "is not a structured report", func(d *dcm.Dataset) {
			d.Set(dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.6.1"))
		}},
		{"content lost", "Content Sequence", func(d *dcm.Dataset) { d.Remove(dcm.T(0x0040A730)) }},
		{"root is no container", "not CONTAINER", func(d *dcm.Dataset) { d.Set(dcm.Strings(dcm.T(0x0040A040), "TEXT")) }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := srtest.Report(t, "header 00100010 = Marker^Patient\nheader 00100020 = MARKER1\ncontainer DCM:1\n  contains text DCM:121106 = Marker text")
			tt.change(&d)
			doc, err := sr.Parse(&dcm.File{Dataset: d})
			if err == nil || doc != nil || !strings.Contains(err.Error(), tt.want) {
				t.Fatalf("document %v, error %v, want one that says %q", doc != nil, err, tt.want)
			}
			if strings.Contains(strings.ToLower(err.Error()), "marker") {
				t.Errorf("the error names the patient: %v", err)
			}
		})
	}
}

func TestEmptyContainerIsAReport(t *testing.T) {
	doc := srtest.Document(t, "container DCM:1\n  contains container DCM:121070 \"Findings\"")
	if len(doc.ContentItem.ContentItems) != 1 || len(doc.Losses) != 0 {
		t.Errorf("%+v", doc.ContentItem)
	}
}

func TestDeviations(t *testing.T) {
	tests := []struct {
		name, tree, at, detail string
		edit                   func(*dcm.Dataset) // of the first content item
	}{
		{name: "unknown relationship type", tree: "container DCM:1\n  contains text DCM:2 = x", at: "1.1", detail: "no defined term",
			edit: func(d *dcm.Dataset) { d.Set(dcm.Strings(dcm.T(0x0040A010), "BELONGS TO")) }},
		{name: "missing relationship type", tree: "container DCM:1\n  text DCM:2 = x", at: "1.1", detail: "Relationship Type (0040,A010) is missing"},
		{name: "CONTAINS from a NUM", tree: "container DCM:1\n  contains num LN:1 = 1 cm\n    contains code DCM:3 = DCM:4", at: "1.1.1", detail: "CONTAINS does not start from a NUM"},
		{name: "missing value type", tree: "container DCM:1\n  contains num LN:1 = 1 cm", at: "1.1", detail: "read as NUM",
			edit: func(d *dcm.Dataset) { d.Remove(dcm.T(0x0040A040)) }},
		{name: "unknown value type", tree: "container DCM:1\n  contains text DCM:2 = x", at: "1.1", detail: "no defined term",
			edit: func(d *dcm.Dataset) { d.Set(dcm.Strings(dcm.T(0x0040A040), "TABLET")) }},
		{name: "value outside its sequence", tree: "container DCM:1\n  contains num LN:1", at: "1.1", detail: "outside Measured Value Sequence",
			edit: func(d *dcm.Dataset) {
				d.Remove(dcm.T(0x0040A300))
				d.Add(dcm.Strings(dcm.T(0x0040A30A), "5"))
			}},
		{name: "no unit", tree: "container DCM:1\n  contains num LN:1 = 5", at: "1.1", detail: "Measurement Units Code Sequence"},
		{name: "several values", tree: `container DCM:1` + "\n" + `  contains num LN:1 = 5\6 cm`, at: "1.1", detail: "2 values"},
		{name: "image without reference", tree: "container DCM:1\n  contains image", at: "1.1", detail: "refers to nothing",
			edit: func(d *dcm.Dataset) { d.Remove(dcm.T(0x00081199)) }},
		{name: "coordinates without type", tree: "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred scoord", at: "1.1.1", detail: "Graphic Type"},
		{name: "by reference in an Enhanced SR", tree: "header 00080016 = 1.2.840.10008.5.1.4.1.1.88.22\ncontainer DCM:1\n  contains num LN:1 = 1 cm\n  contains ref 1.1", at: "1.2", detail: "not allowed in this SOP class"},
		{name: "no SOP instance UID", tree: "header 00080018 =\ncontainer DCM:1\n  contains text DCM:2 = x", at: "", detail: "SOP Instance UID (0008,0018) is missing"},
		{name: "no completion flag", tree: "header 0040A491 =\ncontainer DCM:1\n  contains text DCM:2 = x", at: "", detail: "Completion Flag"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := srtest.Report(t, tt.tree)
			if tt.edit != nil {
				items := d.Sequence(dcm.T(0x0040A730))
				tt.edit(&items[0])
				d.Set(dcm.Sequence(dcm.T(0x0040A730), items...))
			}
			doc, err := sr.Parse(&dcm.File{Dataset: d})
			if err != nil {
				t.Fatal(err)
			}
			if !slices.ContainsFunc(doc.Deviations, func(dev sr.Deviation) bool { return dev.Item == tt.at && strings.Contains(dev.Detail, tt.detail) }) {
				t.Errorf("no deviation at %q saying %q in %+v", tt.at, tt.detail, doc.Deviations)
			}
		})
	}
}

func TestCodeValueMayBeLong(t *testing.T) {
	d := srtest.Report(t, "container DCM:1\n  contains code DCM:2 = DCM:3")
	long := dcm.New(dcm.Strings(dcm.T(0x00080119), "a-value-of-more-than-sixteen-characters"), dcm.Strings(dcm.T(0x00080102), "99X"), dcm.Strings(dcm.T(0x00080104), "long"))
	urn := dcm.New(dcm.Strings(dcm.T(0x00080120), "urn:lex:us:federal:codified.regulation:2013"), dcm.Strings(dcm.T(0x00080104), "urn"))
	d.Set(dcm.Sequence(dcm.T(0x0040A730),
		dcm.New(dcm.Strings(dcm.T(0x0040A010), "CONTAINS"), dcm.Strings(dcm.T(0x0040A040), "CODE"), dcm.Sequence(dcm.T(0x0040A043), long), dcm.Sequence(dcm.T(0x0040A168), urn))))
	doc, err := sr.Parse(&dcm.File{Dataset: d})
	if err != nil {
		t.Fatal(err)
	}
	item := doc.ContentItem.ContentItems[0]
	if want := (coding.CodedConcept{CodeValue: "a-value-of-more-than-sixteen-characters", CodingSchemeDesignator: "99X", CodeMeaning: "long"}); *item.ConceptName != want {
		t.Errorf("name %+v", item.ConceptName)
	}
	if item.ConceptCode == nil || item.ConceptCode.CodeValue != "urn:lex:us:federal:codified.regulation:2013" {
		t.Errorf("value %+v", item.ConceptCode)
	}
}

func TestHeader(t *testing.T) {
	doc := srtest.Document(t, "header 0040A360 = 2.25.5\nheader 00100040 = F\nheader 00101010 = 067Y\ncontainer DCM:1\n  contains text DCM:2 = x")
	if len(doc.PredecessorDocuments) != 1 || doc.PredecessorDocuments[0].SOPInstanceUID != "2.25.5" {
		t.Errorf("predecessors %+v", doc.PredecessorDocuments)
	}
	if doc.Patient.Sex != "F" || doc.Patient.Age != "067Y" {
		t.Error("sex and age not read")
	}
	if s := fmt.Sprintf("%v %+v %#v %s", doc.Patient, doc.Patient, doc.Patient, doc.Patient); strings.Contains(s, "067Y") {
		t.Errorf("patient prints %s", s)
	}
}

func TestIsStructuredReport(t *testing.T) {
	for uid, want := range map[string]bool{
		"1.2.840.10008.5.1.4.1.1.88.11": true, "1.2.840.10008.5.1.4.1.1.88.22": true, "1.2.840.10008.5.1.4.1.1.88.33": true,
		"1.2.840.10008.5.1.4.1.1.88.34": true, "1.2.840.10008.5.1.4.1.1.88.35": true, "1.2.840.10008.5.1.4.1.1.88.72": true,
		"1.2.840.10008.5.1.4.1.1.88.59": true, "1.2.840.10008.5.1.4.1.1.6.1": false, "": false,
	} {
		if sr.IsStructuredReport(uid) != want {
			t.Errorf("%s: not %t", uid, want)
		}
	}
}
