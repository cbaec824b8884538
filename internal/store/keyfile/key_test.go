package keyfile

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

func TestAKeyIsReadByItsOwnerOnly(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "key")
	made, err := Make(file)
	if err != nil {
		t.Fatal(err)
	}
	if read, err := Read(file); err != nil || read.Fingerprint() != made.Fingerprint() {
		t.Errorf("read again: %v", err)
	}
	if _, err := Read(filepath.Join(dir, "nowhere")); err == nil || !strings.Contains(err.Error(), "no key file") {
		t.Errorf("missing key: %v", err)
	}
	if runtime.GOOS != "windows" {
		if err := os.Chmod(file, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(file); err == nil || !strings.Contains(err.Error(), "others") {
			t.Errorf("key that others may read: %v", err)
		}
	}
}

func ExampleKey_Pseudonym() {
	k, _ := derived(bytes.Repeat([]byte{1}, 32))
	fmt.Println(k.Pseudonym("DOE^JANE") == k.Pseudonym("Jane Doe"), k.Pseudonym("DOE^JOHN") == k.Pseudonym("Jane Doe"))
	// Output: true false
}
