package password

import (
	"strings"
	"testing"
)

// TestDamagedPasswordsMatchNothing: neither a damaged line nor one of other costs than it
// was made with lets anybody in.
func TestDamagedPasswordsMatchNothing(t *testing.T) {
	own := Hashed("four plain words here")
	if !Matches(own, "four plain words here") || Matches(own, "four plain words her") {
		t.Error("a password does not match itself, or another one does")
	}
	for _, broken := range []string{"", "$argon2id$", strings.Replace(own, "argon2id", "argon2i", 1), strings.Replace(own, "t=2", "t=0", 1), strings.Replace(own, "m=19456", "m=99999999", 1), own[:len(own)-4]} {
		if Matches(broken, "four plain words here") {
			t.Errorf("%q matches", broken)
		}
	}
}
