package charset_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"echotally/internal/charset"
)

// The forms of PN, LO and UT.
var (
	name  = charset.Form{Encodable: true, Name: true}
	short = charset.Form{Encodable: true}
	text  = charset.Form{Encodable: true, Unsplit: true}
)

// decode reads bytes under what Specific Character Set holds, "" when it is absent.
func decode(terms string, form charset.Form, raw string) (string, []string) {
	var declared []string
	if terms != "" {
		declared = strings.Split(terms, `\`)
	}
	set, notes := charset.Parse(declared...)
	s, note := set.Decode(form, []byte(raw))
	if note != "" {
		notes = append(notes, note)
	}
	return s, notes
}

// The names of PS3.5 annexes H to K as bytes, and what the standard says they are.
func TestNamesOfTheStandard(t *testing.T) {
	tests := []struct{ name, charset, bytes, want string }{
		{"PS3.5 H.3.1", `\ISO 2022 IR 87`,
			"Yamada^Tarou=\x1b$B;3ED\x1b(B^\x1b$BB@O:\x1b(B=\x1b$B$d$^$@\x1b(B^\x1b$B$?$m$&\x1b(B",
			"Yamada^Tarou=山田^太郎=やまだ^たろう"},
		{"PS3.5 H.3.2", `ISO 2022 IR 13\ISO 2022 IR 87`,
			"\xd4\xcf\xc0\xde^\xc0\xdb\xb3=\x1b$B;3ED\x1b(J^\x1b$BB@O:\x1b(J=\x1b$B$d$^$@\x1b(J^\x1b$B$?$m$&\x1b(J",
			"ﾔﾏﾀﾞ^ﾀﾛｳ=山田^太郎=やまだ^たろう"},
		{"PS3.5 I.2", `\ISO 2022 IR 149`,
			"Hong^Gildong=\x1b$)C\xfb\xf3^\x1b$)C\xd1\xce\xd4\xd7=\x1b$)C\xc8\xab^\x1b$)C\xb1\xe6\xb5\xbf",
			"Hong^Gildong=洪^吉洞=홍^길동"},
		{"PS3.5 J.1", "ISO_IR 192",
			"Wang^XiaoDong=\xe7\x8e\x8b^\xe5\xb0\x8f\xe6\x9d\xb1=", "Wang^XiaoDong=王^小東="},
		{"PS3.5 J.3", "GB18030",
			"Wang^XiaoDong=\xcd\xf5^\xd0\xa1\xb6\xab=", "Wang^XiaoDong=王^小东="},
		{"PS3.5 K.2", `\ISO 2022 IR 58`,
			"Zhang^XiaoDong=\x1b$)A\xd5\xc5^\x1b$)A\xd0\xa1\xb6\xab=", "Zhang^XiaoDong=张^小东="},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, notes := decode(test.charset, name, test.bytes)
			if got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
			if len(notes) != 0 {
				t.Errorf("notes on the standard's own example: %q", notes)
			}
		})
	}
}

// Registered sets byte by byte: positions from the ISO 8859 parts, TIS 620 and
// JIS that PS3.3 tables C.12-2 to C.12-4 name.
func TestCharacterSets(t *testing.T) {
	tests := []struct{ name, charset, bytes, want string }{
		{"ISO_IR 6", "ISO_IR 6", "Plain", "Plain"},
		{"ISO_IR 100", "ISO_IR 100", "\xc4neas^R\xfcdiger", "Äneas^Rüdiger"},
		{"ISO_IR 101", "ISO_IR 101", "Wa\xb3\xeasa", "Wałęsa"},
		{"ISO_IR 109", "ISO_IR 109", "\xa6i\xb6", "Ĥiĥ"},
		{"ISO_IR 110", "ISO_IR 110", "\xcf\xef", "Īī"},
		{"ISO_IR 126", "ISO_IR 126", "\xc4\xe9\xef\xed\xf5\xf3\xe9\xef\xf2", "Διονυσιος"},
		{"ISO_IR 127", "ISO_IR 127", "\xe2\xc8\xc7\xe6\xea^\xe4\xe6\xd2\xc7\xd1", "قباني^لنزار"},
		{"ISO_IR 138", "ISO_IR 138", "\xf9\xf8\xe5\xef^\xe3\xe1\xe5\xf8\xe4", "שרון^דבורה"},
		{"ISO_IR 144", "ISO_IR 144", "\xbb\xee\xdace\xdc\xd1yp\xd3", "Люкceмбypг"},
		{"ISO_IR 148", "ISO_IR 148", "\xc7avu\xfeo\xf0lu", "Çavuşoğlu"},
		{"ISO_IR 166", "ISO_IR 166", "\xca\xc1\xaa\xd2\xc2", "สมชาย"},
		{"ISO_IR 203", "ISO_IR 203", "\xa4 \xbc", "€ Œ"},
		{"ISO_IR 13", "ISO_IR 13", "\xd4\xcf\xc0\xde", "ﾔﾏﾀﾞ"},
		{"GBK", "GBK", "\xcd\xf5^\xd0\xa1\xb6\xab", "王^小东"},
		{"GB18030 four-byte", "GB18030", "\x81\x30\x89\x38", "ß"},
		{"ISO 2022 Thai", `\ISO 2022 IR 166`, "\x1b-T\xca\xc1^\x1b-T\xaa", "สม^ช"},
		{"ISO 2022 Cyrillic and Greek", `ISO 2022 IR 100\ISO 2022 IR 144\ISO 2022 IR 126`,
			"\xc4^\x1b-L\xbb\xee^\x1b-F\xc4=\xc4", "Ä^Лю^Δ=Ä"},
		{"ISO 2022 IR 159", `ISO 2022 IR 6\ISO 2022 IR 87\ISO 2022 IR 159`,
			"Mori=\x1b$B?9\x1b(B^\x1b$(Dl?\x1b$B30\x1b(B", "Mori=森^鷗外"},
		{"ISO 2022 IR 6 as first value", `ISO 2022 IR 6\ISO 2022 IR 87`, "\x1b$B;3ED\x1b(B", "山田"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, notes := decode(test.charset, name, test.bytes)
			if got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
			if len(notes) != 0 {
				t.Errorf("notes: %q", notes)
			}
		})
	}
}

// Code extensions end at line ends, at value delimiters and, in names, at the
// component delimiters (PS3.5 6.1.2.5.3).
func TestCodeExtensionsReset(t *testing.T) {
	// The shape of PS3.5 I.3: each line of a text switches anew.
	korean := "The 1st line includes \x1b$)C\xb1\xe6\xb5\xbf.\r\nThe 2nd line includes \x1b$)C\xb1\xe6\xb5\xbf, too.\r\nThe 3rd line."
	got, _ := decode(`\ISO 2022 IR 149`, text, korean)
	if want := "The 1st line includes 길동.\r\nThe 2nd line includes 길동, too.\r\nThe 3rd line."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	got, _ = decode(`ISO 2022 IR 100\ISO 2022 IR 144`, short, "\x1b-L\xbb\\\xc4")
	if want := `Л\Ä`; got != want {
		t.Errorf("values %q, want %q", got, want)
	}
	got, _ = decode(`ISO 2022 IR 100\ISO 2022 IR 144`, text, "\x1b-L\xbb\\\xbb^\xbb\n\xc4")
	if want := "Л\\Л^Л\nÄ"; got != want {
		t.Errorf("in a text, backslash and caret are no delimiters: got %q, want %q", got, want)
	}
}

// A value representation without character set says so of bytes beyond ASCII.
func TestFormWithoutCharacterSet(t *testing.T) {
	for _, test := range []struct{ bytes, want, note string }{{"CM", "CM", ""}, {"\xc4", "Ä", "has none"}} {
		got, notes := decode("ISO_IR 100", charset.Form{}, test.bytes)
		if got != test.want || (len(notes) == 0) != (test.note == "") || !strings.Contains(strings.Join(notes, ""), test.note) {
			t.Errorf("%q: %q, notes %q", test.bytes, got, notes)
		}
	}
	if got, _ := decode("ISO_IR 13", charset.Form{}, `a\b~`); got != `a\b~` {
		t.Errorf("Romaji where no character set applies: %q", got)
	}
}

func TestToleratedCharacterSets(t *testing.T) {
	tests := []struct{ name, charset, bytes, want, note string }{
		{"hyphen for underscore", "ISO-IR 100", "\xc4", "Ä", "misspelt"},
		{"space for underscore", "ISO IR 192", "Ä", "Ä", "misspelt"},
		{"UTF-8 by its own name", "UTF-8", "Ä", "Ä", "misspelt"},
		{"ISO 8859 by its own name", "ISO8859-7", "\xc4", "Δ", "misspelt"},
		{"GB18030 with a further value", `GB18030\ISO IR 192`, "\xcd\xf5", "王", "further values"},
		{"unknown term", "KLINGON", "a\xc4", "a\uFFFD", "unknown character set"},
		{"none declared, UTF-8 sent", "", "Ä", "Ä", "no character set declared"},
		{"none declared, something else sent", "", "a\xc4b", "a\uFFFDb", "no character set declared"},
		{"UTF-8 declared, Latin-1 sent", "ISO_IR 192", "\xc4b", "\uFFFDb", "replaced"},
		{"byte that the set does not have", "ISO_IR 126", "\xff", "\uFFFD", "replaced"},
		{"undeclared escape sequence", `ISO 2022 IR 100\ISO 2022 IR 144`, "\x1b-F\xc4", "Δ", "not declared"},
		{"unknown escape sequence", `\ISO 2022 IR 87`, "a\x1b%Gb", "a\uFFFDb", "replaced"},
		{"Korean without escape after the caret", `\ISO 2022 IR 149`, "\x1b$)C\xfb\xf3^\xd1\xce", "洪^吉", "without its escape"},
		{"escape at the end", `\ISO 2022 IR 87`, "ab\x1b$", "ab\uFFFD", "replaced"},
		{"half a kanji", `\ISO 2022 IR 87`, "\x1b$B;", "\uFFFD", "replaced"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, notes := decode(test.charset, name, test.bytes)
			if got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
			if !strings.Contains(strings.Join(notes, "; "), test.note) {
				t.Errorf("notes %q; want one saying %q", notes, test.note)
			}
		})
	}
}

// Whatever the bytes, the text is UTF-8, and plain ASCII comes back as it is.
func FuzzDecode(f *testing.F) {
	f.Add(`\ISO 2022 IR 87`, []byte("\x1b$B;3ED\x1b(B"), true, false, false)
	f.Add("GB18030", []byte("\x81\x30\x89\x38"), true, true, false)
	f.Add("ISO_IR 13", []byte("\x83\x5c\\A~"), true, false, true)
	f.Fuzz(func(t *testing.T, terms string, raw []byte, encodable, unsplit, name bool) {
		form := charset.Form{Encodable: encodable, Unsplit: unsplit, Name: name}
		got, _ := decode(terms, form, string(raw))
		if !utf8.ValidString(got) {
			t.Errorf("%q under %q is %q", raw, terms, got)
		}
		set, _ := charset.Parse(strings.Split(terms, `\`)...)
		if charset.Plain(raw) && set.Plain(form) && got != string(raw) {
			t.Errorf("ASCII %q under %q is %q", raw, terms, got)
		}
	})
}
