package printable_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"echotally/internal/printable"
)

const hostile = "a\x1b[2J\x07b\r\nobject\trecorded\u0085\u009b31m\u202Eevil\u2066\u2028\u2029\x7f\U000E0041\uFEFF\xff"

func TestLineShowsWhatWouldAct(t *testing.T) {
	want := `a\u001b[2J\u0007b\u000d\u000aobject\u0009recorded\u0085\u009b31m\u202eevil\u2066\u2028\u2029\u007f\udb40\udc41\ufeff\u00ff`
	if got := printable.Line(hostile); got != want {
		t.Errorf("Line = %q\nwant   %q", got, want)
	}
	for _, fine := range []string{"", "plain", "Müller\u200d क\u094d\u200dष \u200fעברית", "\uFFFD"} {
		if got := printable.Line(fine); got != fine {
			t.Errorf("Line(%q) = %q, want it as it is", fine, got)
		}
	}
	if got := printable.Quote(strings.Repeat("ä\x1b", 300), 4); got != `ä\u001bä\u001b…` {
		t.Errorf("Quote = %q", got)
	}
}

// Whatever the pieces in which it comes, the writer passes the same on, and JSON
// keeps its value.
func TestWriterGuardsWhatIsWritten(t *testing.T) {
	text := "ä\u0085\u2028 \u202E x\n\ty"
	quoted, err := json.Marshal(text)
	if err != nil {
		t.Fatal(err)
	}
	for size := 1; size < 8; size++ {
		var b bytes.Buffer
		w := printable.NewWriter(&b)
		for rest := quoted; len(rest) > 0; rest = rest[min(size, len(rest)):] {
			if _, err := w.Write(rest[:min(size, len(rest))]); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		var back string
		if err := json.Unmarshal(b.Bytes(), &back); err != nil || back != text {
			t.Errorf("pieces of %d: %q gives %q (%v), want %q", size, b.String(), back, err, text)
		}
		if strings.ContainsFunc(b.String(), printable.Unsafe) {
			t.Errorf("pieces of %d: %q has a raw control character", size, b.String())
		}
	}
}
