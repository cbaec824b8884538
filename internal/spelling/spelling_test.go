package spelling_test

import (
	"testing"

	"echotally/internal/spelling"
)

func TestNearest(t *testing.T) {
	names := []string{"tricuspid-valve", "mitral-valve", "aortic-valve"}
	for word, want := range map[string]string{"tricuspid-vlave": "tricuspid-valve", "mitral": "", "aortic-valv": "aortic-valve", "x": "", "": ""} {
		if got := spelling.Nearest(word, names); got != want {
			t.Errorf("%q: %q, want %q", word, got, want)
		}
	}
}
