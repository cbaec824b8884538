// Package identifier owns the unique identifiers of DICOM (PS3.5 section 9): what is one,
// those that are derived from what they name, and the one of this program.
package identifier

import (
	"crypto/sha256"
	"fmt"
	"math/big"
	"strings"
)

// Implementation of this program (PS3.7 D.3.3.2): a UID derived from a random UUID (PS3.5
// B.2), so that it needs no registered root.
const (
	ImplementationClass = "2.25.159928694546466566389949385881548068070"
	ImplementationName  = "ECHOTALLY"
)

// IsUID reports whether a text is a UID (PS3.5 section 9.1), and so may be the name of
// a file.
func IsUID(s string) bool {
	return len(s) > 0 && len(s) <= 64 && strings.Trim(s, "0123456789.") == "" && s[0] != '.' && s[len(s)-1] != '.' && !strings.Contains(s, "..")
}

// Derived is a UUID of version 8, whose bits are of a hash (RFC 9562 section 5.8).
type Derived [16]byte

// Derive gives the same for the same parts, and another for others.
func Derive(parts ...string) Derived {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	sum[6], sum[8] = sum[6]&0x0F|0x80, sum[8]&0x3F|0x80
	return Derived(sum[:16])
}

// UID is the identifier below the root 2.25 (PS3.5 B.2).
func (d Derived) UID() string { return "2.25." + new(big.Int).SetBytes(d[:]).String() }

// UUID is the identifier as RFC 9562 writes it.
func (d Derived) UUID() string {
	return fmt.Sprintf("%x-%x-%x-%x-%x", d[0:4], d[4:6], d[6:8], d[8:10], d[10:16])
}
