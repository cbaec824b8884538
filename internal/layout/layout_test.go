package layout

import (
	"strings"
	"testing"
)

func TestSpreadsheetsMeetNoFormula(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+x": "'+x", "-x": "'-x", "@x": "'@x", "\tx": "'\tx", "-3.2": "-3.2", "+4": "+4", "-Inf": "'-Inf", "a=b": "a=b", "": "",
	} {
		if got := Guard(in); got != want {
			t.Errorf("Guard(%q) is %q, want %q", in, got, want)
		}
	}
}

// What a file says can end neither the text nor the style sheet it stands in.
func TestHeadingsOfPagesEndNoStyleSheet(t *testing.T) {
	got := string(Paper("study-2.25.1", "Doe\"; } </style><script>\\", true))
	for _, bad := range []string{"</style", "<script", `Doe"`, "\\"} {
		if strings.Contains(got, bad) {
			t.Errorf("%q in %s", bad, got)
		}
	}
	for _, want := range []string{"@page pstudy-2-25-1 {", `[id="study-2.25.1"] { page: pstudy-2-25-1; }`, "counter(pages)"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in %s", want, got)
		}
	}
	if several := string(Paper("x", "y", false)); strings.Contains(several, "counter(pages)") || !strings.Contains(several, "counter(px)") {
		t.Errorf("of several: %s", several)
	}
}
