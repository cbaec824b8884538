package extract_test

import (
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// Codes of PS3.16: CID 3717 segments, CID 3703 findings, CID 12238 schemes,
// CID 12002 stages, LV Wall Motion Score Index 125202 DCM.
func TestSegmentsOfTheWall(t *testing.T) {
	const (
		head   = "container DCM:125200\n  contains container DCM:121070 \"Findings\"\n"
		index  = "    contains num DCM:125202 \"LV Wall Motion Score Index\" = 1.5 1\n      mod code SCT:370129005 \"Measurement Method\" = DCM:125223 \"4 Point Segment Finding Scale\"\n"
		finds  = "    contains code DCM:121071 \"Finding\" = "
		site   = "      mod code SCT:363698007 \"Finding Site\" = "
		basal  = "SCT:264846001 \"left ventricle basal inferior segment\"\n"
		apex   = "SCT:128564006 \"apex of left ventricle\"\n"
		hypo   = "SCT:37706002 \"Hypokinesis\"\n"
		akin   = "SCT:195675009 \"Akinesis\"\n"
		normal = "SCT:373122000 \"Normal wall motion\"\n"
	)
	for _, tt := range []struct{ name, tree, want string }{
		{"finding with a site, scale at the index behind it", head + finds + hypo + site + basal + index,
			"lv-basal-inferior Hypokinesis - 125223 - 1.1.1"},
		{"number below the finding", head + finds + hypo + site + basal + "      props num 99X:1 \"Value\" = 2 1\n" + index,
			"lv-basal-inferior Hypokinesis 2 125223 - 1.1.1"},
		{"one finding of two segments", head + finds + akin + site + basal + site + apex,
			"lv-basal-inferior Akinesis - - - 1.1.1; left-ventricular-apex Akinesis - - - 1.1.1"},
		{"segment as name", head + "    contains code SCT:264846001 \"left ventricle basal inferior segment\" = " + hypo,
			"lv-basal-inferior Hypokinesis - - - 1.1.1"},
		{"segment as name, private finding", head + "    contains code SCT:264846001 \"left ventricle basal inferior segment\" = 99X:7 \"sluggish\"\n",
			"lv-basal-inferior sluggish - - - 1.1.1"},
		{"segment as value, finding and number below", head + "    contains code LN:18179-2 \"Wall Segment\" = " + basal +
			"      props code DCM:121071 \"Finding\" = " + hypo + "      props num 99X:1 \"Wall motion score\" = 2 1\n",
			"lv-basal-inferior Hypokinesis - - - 1.1.1.1; lv-basal-inferior - 2 - - 1.1.1.2"},
		{"segment as name of a number", head + "    contains num SCT:264846001 \"left ventricle basal inferior segment\" = 3 1\n",
			"lv-basal-inferior - 3 - - 1.1.1"},
		{"container about a segment", head + "    contains container DCM:125007\n" + strings.ReplaceAll(site, "      mod", "      mod") + basal +
			"      contains code DCM:121071 \"Finding\" = " + normal,
			"lv-basal-inferior Normal wall motion - - - 1.1.1.2"},
		{"stage of the container", "container DCM:125200\n  contains container DCM:121070 \"Findings\"\n    acq code LN:18139-6 \"Stage\" = SCT:434161005 \"Peak cardiac stress state\"\n" + finds + akin + site + apex,
			"left-ventricular-apex Akinesis - - Peak cardiac stress state 1.1.2"},
		{"a strain of a segment is no score", head + "    contains num 99X:1 \"Strain score\" = -18 %\n" + site + basal, ""},
		{"a ratio of a segment is no score", head + "    contains num 99X:1 \"Thickness ratio\" = 2 1\n" + site + basal, ""},
		{"something else of a segment", head + finds + "99X:5 \"thin\"\n" + site + basal, ""},
		{"a finding of no segment", head + finds + hypo, ""},
		{"history", "container DCM:125200\n  contains container DCM:121060 \"History\"\n" + finds + hypo + site + basal, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := catalogues(t)
			s := extract.Study([]*sr.Document{srtest.Document(t, tt.tree)}, c)
			var got []string
			for _, g := range s.Segments {
				got = append(got, shownSegment(c, g))
			}
			if text := strings.Join(got, "; "); text != tt.want {
				t.Errorf("got  %s\nwant %s", text, tt.want)
			}
		})
	}
}

func shownSegment(c extract.Catalogues, g echo.Segment) string {
	parts := []string{c.Measurands.Terms.Of("findingSite", g.Site.Key()).Name, "-", "-", "-", "-", g.Source.Item}
	if g.Finding != nil {
		parts[1] = g.Finding.CodeMeaning
	}
	if g.Score != nil {
		parts[2] = g.Score.Value.Text()
	}
	if g.Scheme != nil {
		parts[3] = g.Scheme.CodeValue
	}
	if g.Stage != nil {
		parts[4] = g.Stage.Concept.CodeMeaning
	}
	return strings.Join(parts, " ")
}

// A number that scores a segment is no measurement of an unknown quantity, and a
// segment called normal in words does not make the wall normal.
func TestSegmentsAreNotReadAsSomethingElse(t *testing.T) {
	s := extract.Study([]*sr.Document{srtest.Document(t, `container DCM:125200
  contains container DCM:121070 "Findings"
    contains num SCT:264846001 "left ventricle basal inferior segment" = 1 1
    contains code SCT:264844003 "left ventricle apical anterior segment" = 99X:1 "Normal wall motion"
    contains code SCT:264853005 "left ventricle apical lateral segment" = 99X:2 "Hypokinesis"`)}, catalogues(t))
	if got := s.Measurements[0].Role; got != echo.SegmentScore {
		t.Errorf("role %s", got)
	}
	for _, st := range s.Statements {
		if st.Identifier == "wall-motion-normal" && !st.Negated {
			t.Errorf("stated %+v", st)
		}
	}
	if len(s.Statements) == 0 || len(s.Segments) != 3 {
		t.Errorf("%d statements, %d segments", len(s.Statements), len(s.Segments))
	}
}

// A superseded report does not speak of segments either.
func TestSupersededSegments(t *testing.T) {
	tree := func(header, finding string) string {
		return header + "container DCM:125200\n  contains container DCM:121070\n    contains code SCT:264846001 = " + finding + "\n"
	}
	first := srtest.Document(t, tree("header 00080018 = 2.25.1\nheader 00080023 = 20260301\n", "SCT:373122000"))
	first.PreliminaryFlag = "PRELIMINARY"
	last := srtest.Document(t, tree("header 00080018 = 2.25.2\nheader 00080023 = 20260302\n", "SCT:195675009"))
	s := extract.Study([]*sr.Document{first, last}, catalogues(t))
	if len(s.Segments) != 1 || s.Segments[0].Source.SOPInstanceUID != "2.25.2" {
		t.Errorf("segments %+v", s.Segments)
	}
}
