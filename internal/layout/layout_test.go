package layout

import "testing"

func TestSpreadsheetsMeetNoFormula(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+x": "'+x", "-x": "'-x", "@x": "'@x", "\tx": "'\tx", "-3.2": "-3.2", "+4": "+4", "-Inf": "'-Inf", "a=b": "a=b", "": "",
	} {
		if got := Guard(in); got != want {
			t.Errorf("Guard(%q) is %q, want %q", in, got, want)
		}
	}
}
