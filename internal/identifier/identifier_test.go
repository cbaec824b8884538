package identifier_test

import (
	"os/exec"
	"strings"
	"testing"

	"echotally/internal/identifier"
)

// TestDerivedIdentifiers are of version 8 and the variant of RFC 9562 for Python's uuid,
// whose number of them is the UID below 2.25 (PS3.5 B.2), the same for the same parts.
func TestDerivedIdentifiers(t *testing.T) {
	d := identifier.Derive("echotally", "instance", "1.2.3")
	if d != identifier.Derive("echotally", "instance", "1.2.3") || d == identifier.Derive("echotally", "instance1.2.3") || d == identifier.Derive("echotally", "instance", "1.2.4") {
		t.Error("other parts have the same identifier, or the same another")
	}
	if !identifier.IsUID(d.UID()) {
		t.Errorf("%s is no UID", d.UID())
	}
	if _, err := exec.LookPath("python3"); err != nil {
		t.Skip("Python is not installed: the form was not compared with another program's")
	}
	out, err := exec.Command("python3", "-c", "import sys, uuid; u = uuid.UUID(sys.argv[1]); print(u, u.version, u.variant, '2.25.%d' % u.int)", d.UUID()).Output()
	if want := d.UUID() + " 8 specified in RFC 4122 " + d.UID(); err != nil || strings.TrimSpace(string(out)) != want {
		t.Errorf("%s, %v\nwant %s", out, err, want)
	}
}

// TestWhatIsAUID by PS3.5 section 9.1, as far as the name of a file needs it.
func TestWhatIsAUID(t *testing.T) {
	for text, want := range map[string]bool{
		"1.2.840.10008.1.1": true, identifier.ImplementationClass: true, strings.Repeat("1", 64): true,
		"": false, strings.Repeat("1", 65): false, ".1": false, "1.": false, "1..2": false, "1.2a": false, "../1": false, "1/2": false, "1.2 ": false, "1.2\x00": false,
	} {
		if identifier.IsUID(text) != want {
			t.Errorf("%q: %v", text, !want)
		}
	}
}
