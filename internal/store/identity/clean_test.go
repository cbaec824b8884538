package identity

import (
	"reflect"
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
