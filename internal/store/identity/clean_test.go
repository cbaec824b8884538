package identity

import (
	"reflect"
	"regexp"
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/packed"
)

// TestFieldsAreNamedAsTheyAre holds the names that cleaning goes by against the
// fields there are.
func TestFieldsAreNamedAsTheyAre(t *testing.T) {
	names := map[string]bool{}
	for _, f := range packed.Fields(reflect.TypeFor[echo.Study](), reflect.TypeFor[echo.Image]()) {
		names[f.Name] = true
		if strings.HasSuffix(f.Name, "UID") && !asWritten[f.Name] {
			t.Errorf("%s.%s is a UID and would be looked through for names; add it to asWritten", f.Type, f.Name)
		}
	}
	for name := range asWritten {
		if !names[name] {
			t.Errorf("asWritten names a field %s, which no kept type has; a field that was renamed is renamed there as well", name)
		}
	}
}

// TestNoNameIsPassedOver writes names in other cases, beside other signs and in other
// letters into texts, and looks for them with a pattern that knows no beginnings.
func TestNoNameIsPassedOver(t *testing.T) {
	names := []string{"Marrow^Ines", "Kelvin", "ſtraße^Ilse", "Дубова", "#12-77", "李小龍", "(Ann"}
	clean := Cleaner(names)
	taken := 0
	for _, name := range []string{"Marrow", "INES", "\u212aelvin", "kelvin", "Straße", "ДУБОВА", "дубова", "#12-77", "李小龍", "(ann"} {
		for _, text := range []string{"%", "seen by %", "%: normal", "x%", "%x", "9%", "-%-", "of % and %", "\xff%", "é %", "%%"} {
			in := strings.ReplaceAll(text, "%", name)
			there := regexp.MustCompile(`(?i)(^|[^\pL\pN])(` + regexp.QuoteMeta(name) + `)($|[^\pL\pN])`)
			out := clean.Of("Quote", in)
			switch stays := there.MatchString(out); {
			case stays:
				t.Errorf("%q stays in %q", name, out)
			case out == in && there.MatchString(in):
				t.Errorf("%q is passed over", in)
			case out != in:
				taken++
			}
		}
	}
	if taken == 0 {
		t.Error("no text holds a name: the test shows nothing")
	}
}
