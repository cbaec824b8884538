// Package keyfile owns the key of a ledger and the file it lies in: what is sealed
// with it, and the codes and hashes that only who has it can make. It knows no
// ledger.
package keyfile

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"unicode"

	"echotally/internal/echo"
	"echotally/internal/store/fault"
)

// heading begins a key file.
const heading = "echotally key 1 "

// mostBytes is more than a key file holds, in bytes.
const mostBytes = 4096

// Key seals identities and makes pseudonyms. It lives in a file of its own;
// without it a ledger serves every lab output but gives no name.
type Key struct {
	seal        cipher.AEAD
	pseudonyms  []byte
	lookups     []byte
	marks       []byte
	opaque      []byte
	fingerprint string
}

// String tells nothing of the key.
func (*Key) String() string { return "key (withheld)" }

// GoString tells nothing of the key.
func (*Key) GoString() string { return "key (withheld)" }

// DefaultFile is the key when none is named: in the user's configuration
// folder, so that a copy of the working folder does not carry it.
func DefaultFile() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", &fault.Error{Doing: "find key file", Reason: err.Error(), Hint: "name one with --key"}
	}
	return filepath.Join(dir, "echotally", "key"), nil
}

// Read reads a key file.
func Read(file string) (*Key, error) {
	fail := func(reason, hint string, cause error) (*Key, error) {
		return nil, &fault.Error{Doing: "read key file", Reason: reason, Hint: hint, Cause: cause}
	}
	info, err := os.Stat(file)
	if errors.Is(err, fs.ErrNotExist) {
		return fail("there is no key file", "name the key this ledger was made with by --key; without it identities stay sealed", err)
	}
	if err != nil {
		return fail("it cannot be opened", "check the permissions", err)
	}
	if !info.Mode().IsRegular() || info.Size() > mostBytes {
		return fail("it is no key file", "name the file that echotally made", nil)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return fail("others than its owner may read it", "chmod 600 the key file", nil)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return fail("it cannot be read", "check the permissions", err)
	}
	secret, ok := secretOf(string(text))
	if !ok {
		return fail("it holds no key", "name the file that echotally made", nil)
	}
	return derived(secret)
}

// secretOf reads the text of a key file.
func secretOf(text string) ([]byte, bool) {
	digits, ok := strings.CutPrefix(strings.TrimSpace(text), heading)
	secret, err := hex.DecodeString(digits)
	return secret, ok && err == nil && len(secret) == sha256.Size
}

// Is reports whether a text that should name a key file is a key itself, with or
// without the heading of its file.
func Is(text string) bool {
	_, is := secretOf(heading + strings.TrimPrefix(strings.TrimSpace(text), heading))
	return is
}

// Make makes a key file that only its owner may read. It never writes over
// a file.
func Make(file string) (*Key, error) {
	wrap := func(err error) error {
		return &fault.Error{Doing: "make key file", Reason: fault.Reason(err), Hint: "check the folder, or name another file with --key", Cause: err}
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return nil, wrap(err)
	}
	secret := make([]byte, sha256.Size)
	rand.Read(secret) // never fails (crypto/rand)
	f, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return Read(file) // another process was quicker
	}
	if err != nil {
		return nil, wrap(err)
	}
	_, err = fmt.Fprintf(f, "%s%x\n", heading, secret)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		os.Remove(file)
		return nil, wrap(err)
	}
	return derived(secret)
}

func derived(secret []byte) (*Key, error) {
	derive := func(purpose string) []byte {
		out, err := hkdf.Key(sha256.New, secret, nil, "echotally "+purpose, sha256.Size)
		if err != nil {
			panic("internal error: " + err.Error()) // only for impossible lengths
		}
		return out
	}
	block, err := aes.NewCipher(derive("identity"))
	if err != nil {
		return nil, err
	}
	aead, err := cipher.NewGCMWithRandomNonce(block)
	if err != nil {
		return nil, err
	}
	return &Key{
		seal: aead, pseudonyms: derive("pseudonym"), lookups: derive("lookup"), marks: derive("mark"), opaque: derive("opaque"),
		fingerprint: hex.EncodeToString(derive("fingerprint"))[:16],
	}, nil
}

var pseudonymLetters = base32.NewEncoding("abcdefghijkmnpqrstuvwxyz23456789").WithPadding(base32.NoPadding)

// Pseudonym gives the code a member of staff has in this ledger. Spelling with
// carets, commas, capitals or another order of the names makes no difference.
func (k *Key) Pseudonym(name string) string {
	parts := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	if len(parts) == 0 {
		return ""
	}
	slices.Sort(parts)
	return "p-" + pseudonymLetters.EncodeToString(mac(k.pseudonyms, strings.Join(parts, " "))[:10])
}

// Lookup gives the keyed hash by which an accession number is found again.
func (k *Key) Lookup(accession string) string {
	if accession = strings.TrimSpace(accession); accession == "" {
		return ""
	}
	return hex.EncodeToString(mac(k.lookups, accession)[:16])
}

// Mark gives the keyed hash by which a seal shows that it was made with the key;
// "" without one.
func (k *Key) Mark(hash string) string {
	if k == nil {
		return ""
	}
	return hex.EncodeToString(mac(k.marks, hash)[:16])
}

func mac(key []byte, text string) []byte {
	h := hmac.New(sha256.New, key)
	h.Write([]byte(text))
	return h.Sum(nil)
}

// Fingerprint tells this key from others, and nothing else of it.
func (k *Key) Fingerprint() string { return k.fingerprint }

// Seal puts a text under the key. What it is of is sealed with it, so that it cannot
// be moved to something else.
func (k *Key) Seal(of, text string) []byte {
	return k.seal.Seal(nil, nil, []byte(text), []byte(of))
}

// Open gives what was sealed of something. It fails where that was changed, sealed
// with another key or of something else.
func (k *Key) Open(of string, sealed []byte) (string, error) {
	text, err := k.seal.Open(nil, nil, sealed, []byte(of))
	return string(text), err
}

// Patient gives the keyed hash by which the studies of a patient ID are found;
// "" without an ID.
func (k *Key) Patient(who echo.Identity) string {
	id := strings.TrimSpace(who.PatientID.Reveal())
	if id == "" {
		return ""
	}
	return k.Lookup("patient\x00" + strings.TrimSpace(who.IssuerOfPatientID.Reveal()) + "\x00" + id)
}

// Opaque is a name for a text that tells nothing of it to whoever has not got the
// key, and is the same each time: what stands in an address in place of a UID.
func (k *Key) Opaque(text string) string {
	return pseudonymLetters.EncodeToString(mac(k.opaque, text)[:15])
}
