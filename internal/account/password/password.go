// Package password owns how a password is kept: what it costs to try one, and which
// lengths are taken. It knows no account.
package password

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Cost of a password: argon2id with 19 MiB, two passes and one lane, the least that
// RFC 9106 section 4 and common practice (OWASP password storage, from memory) allow
// for a machine that has other work to do.
const (
	costMemory = 19 << 10 // KiB
	costPasses = 2
	costLanes  = 1
	saltBytes  = 16
	hashBytes  = 32
)

// Bounds of a password, in bytes. Twelve is a site choice; the upper one bounds the
// work of a try.
const (
	Least = 12
	Most  = 256
)

// Hashed is a password as it is kept, in the form other programs use for it (PHC
// string format).
func Hashed(password string) string {
	salt := make([]byte, saltBytes)
	rand.Read(salt) // never fails (crypto/rand)
	sum := argon2.IDKey([]byte(password), salt, costPasses, costMemory, costLanes, hashBytes)
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, costMemory, costPasses, costLanes, b64.EncodeToString(salt), b64.EncodeToString(sum))
}

// Matches holds a password against one that is kept.
func Matches(kept, password string) bool {
	parts := strings.Split(kept, "$")
	if len(parts) != 6 || parts[1] != "argon2id" || len(password) > Most {
		return false
	}
	var (
		memory, passes uint32
		lanes          uint8
	)
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &memory, &passes, &lanes); err != nil || memory > 1<<20 || passes == 0 || passes > 16 || lanes == 0 {
		return false
	}
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil {
		return false
	}
	sum, err := base64.RawStdEncoding.DecodeString(parts[5])
	if err != nil || len(sum) == 0 {
		return false
	}
	again := argon2.IDKey([]byte(password), salt, passes, memory, lanes, uint32(len(sum)))
	return subtle.ConstantTimeCompare(sum, again) == 1
}
