package lablist

import (
	"strings"
	"testing"
)

func TestAListWithoutItsColumnsIsRefused(t *testing.T) {
	for _, text := range []string{"", "name\nDoe^Jane\n"} {
		if _, err := Read(Roster, strings.NewReader(text)); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}
