// Package proof owns the chains of a ledger: the digests of rows that an event
// answers for, the hashes by which events and seals follow from those before, and
// what going through all of them comes to. It reads no database: who does gives it
// one row after the other.
package proof

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
)

// Detail is what an event says: the digest of every row it touched, "" for one that
// was removed, and a few words.
type Detail struct {
	Rows map[string]string `json:"rows,omitempty"`
	Note map[string]string `json:"note,omitempty"`
}

// NotHeld is the note of an event that says what of an earlier version did not
// hold when it was brought to this one.
const NotHeld = "did not hold"

// Head is the last event of a chain.
type Head struct {
	Number int64  `json:"number"`
	Hash   string `json:"hash"`
}

// Digest is the digest of a row: of each column its kind, its length and what
// it holds, whatever the database makes of it on the way. It panics over a value
// that no database gives.
func Digest(values []any) string {
	h := sha256.New()
	for _, v := range values {
		kind, held := byte(0), []byte(nil)
		switch x := v.(type) {
		case nil:
			kind = 'n'
		case int64:
			kind, held = 'i', strconv.AppendInt(nil, x, 10)
		case string:
			kind, held = 't', []byte(x)
		case []byte:
			kind, held = 'b', x
		default:
			panic(fmt.Sprintf("internal error: a row holds a %T", v))
		}
		fmt.Fprintf(h, "%c%d:", kind, len(held))
		h.Write(held)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// EventHash gives the hash of an event from the one before it in its chain and what
// it says.
func EventHash(before, study string, number int64, at, kind, detail string) string {
	return Hash(before, study, strconv.FormatInt(number, 10), at, kind, detail)
}

// Hash gives a hash that follows from the one before and what is said.
func Hash(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil))
}
