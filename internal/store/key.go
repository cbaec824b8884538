package store

import (
	"context"
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
)

// keyHeading begins a key file.
const keyHeading = "echotally key 1 "

// mostOfKey is more than a key file holds, in bytes.
const mostOfKey = 4096

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

// DefaultKeyFile is the key when none is named: in the user's configuration
// folder, so that a copy of the working folder does not carry it.
func DefaultKeyFile() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", &Error{Doing: "find key file", Reason: err.Error(), Hint: "name one with --key"}
	}
	return filepath.Join(dir, "echotally", "key"), nil
}

// ReadKey reads a key file.
func ReadKey(file string) (*Key, error) {
	fail := func(reason, hint string, cause error) (*Key, error) {
		return nil, &Error{Doing: "read key file", Reason: reason, Hint: hint, cause: cause}
	}
	info, err := os.Stat(file)
	if errors.Is(err, fs.ErrNotExist) {
		return fail("there is no key file", "name the key this ledger was made with by --key; without it identities stay sealed", err)
	}
	if err != nil {
		return fail("it cannot be opened", "check the permissions", err)
	}
	if !info.Mode().IsRegular() || info.Size() > mostOfKey {
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
	return newKey(secret)
}

// secretOf reads the text of a key file.
func secretOf(text string) ([]byte, bool) {
	digits, ok := strings.CutPrefix(strings.TrimSpace(text), keyHeading)
	secret, err := hex.DecodeString(digits)
	return secret, ok && err == nil && len(secret) == sha256.Size
}

// IsKey reports whether a text that should name a key file is a key itself, with or
// without the heading of its file.
func IsKey(text string) bool {
	_, is := secretOf(keyHeading + strings.TrimPrefix(strings.TrimSpace(text), keyHeading))
	return is
}

// MakeKey makes a key file that only its owner may read. It never writes over
// a file.
func MakeKey(file string) (*Key, error) {
	wrap := func(err error) error {
		return &Error{Doing: "make key file", Reason: fsReason(err), Hint: "check the folder, or name another file with --key", cause: err}
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return nil, wrap(err)
	}
	secret := make([]byte, sha256.Size)
	rand.Read(secret) // never fails (crypto/rand)
	f, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return ReadKey(file) // another process was quicker
	}
	if err != nil {
		return nil, wrap(err)
	}
	_, err = fmt.Fprintf(f, "%s%x\n", keyHeading, secret)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		os.Remove(file)
		return nil, wrap(err)
	}
	return newKey(secret)
}

func fsReason(err error) string {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err.Error()
	}
	return err.Error()
}

func newKey(secret []byte) (*Key, error) {
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

// lookup gives the keyed hash by which an accession number is found again.
func (k *Key) lookup(accession string) string {
	if accession = strings.TrimSpace(accession); accession == "" {
		return ""
	}
	return hex.EncodeToString(mac(k.lookups, accession)[:16])
}

// mark gives the keyed hash by which a seal shows that it was made with the key;
// "" without one.
func (k *Key) mark(hash string) string {
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

// checkKey holds the key against the ledger: the first key it is opened with
// for writing becomes its own.
func (s *Store) checkKey(ctx context.Context, mayNote bool) error {
	if s.key == nil {
		return nil
	}
	if mayNote {
		err := s.write(ctx, "note key", func(t *tx) error {
			var is string
			known, err := t.row(sqlMeta, []any{"key"}, &is)
			if err != nil || known && is != s.key.fingerprint {
				return err
			}
			if !known {
				t.touch("meta", "key")
				if err := errors.Join(t.run(sqlAddMeta, "key", s.key.fingerprint), t.event("", "keyed", nil)); err != nil {
					return err
				}
			}
			return s.tieAll(t)
		})
		if err != nil {
			return err
		}
	}
	var known string
	err := s.look(ctx, func(v *view) error { _, err := v.row(sqlMeta, []any{"key"}, &known); return err })
	if err == nil && known != s.key.fingerprint {
		return &Error{Doing: "open ledger", Reason: "the key file is not the one this ledger was made with", Hint: "name the right one with --key"}
	}
	return s.wrap("open ledger", err)
}

// HasKey reports whether the ledger has a key already, so that no second one is
// made for it. It leaves the ledger as it is.
func HasKey(ctx context.Context, file string) (bool, error) {
	noted, err := keyNoted(ctx, file)
	return noted != "", err
}

// Fits reports whether the key is the ledger's. It leaves the ledger as it is.
func (k *Key) Fits(ctx context.Context, file string) bool {
	noted, err := keyNoted(ctx, file)
	return err == nil && noted == k.fingerprint
}

func keyNoted(ctx context.Context, file string) (fingerprint string, err error) {
	if info, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0 {
		return "", nil
	}
	s := &Store{file: file}
	if err := s.openAsIs(ctx); err != nil {
		return "", err
	}
	defer s.Close()
	err = s.look(ctx, func(v *view) error { _, err := v.row(sqlMeta, []any{"key"}, &fingerprint); return err })
	return fingerprint, s.wrap("open ledger", err)
}
