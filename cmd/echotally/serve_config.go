package main

import (
	"crypto/tls"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"time"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
)

// serveConfig is the configuration of serve. A section has its file; a new one is a
// field here and a place in sections.
type serveConfig struct {
	Notify       notifySection `yaml:"notify"`
	DICOM        dicomSection  `yaml:"dicom"`
	STOW         stowSection   `yaml:"stow"`
	Watch        watchSection  `yaml:"watch"`
	Spool        string        `yaml:"spool"`
	QuietSeconds float64       `yaml:"quietSeconds"`
	Web          webSection    `yaml:"web"`
}

// sections are begun in this order: who is told, before what comes.
func (c *serveConfig) sections() []serveSection {
	return []serveSection{&c.Notify, &c.DICOM, &c.STOW, &c.Watch, &c.Web}
}

// serveExample is a configuration that says what holds without one.
func serveExample() string {
	var b strings.Builder
	b.WriteString("# Parts of echotally serve; a line that is left out keeps its value.\n")
	for _, s := range new(serveConfig).sections() {
		b.WriteString(s.example())
	}
	b.WriteString(`spool: echotally-spool      # where objects lie until they are recorded, and after
quietSeconds: 30            # how long nothing of a study must have come before it is recorded
`)
	return b.String()
}

// readServeConfig reads a configuration, "" for none; what it leaves out keeps its
// value, and what the environment says wins.
func readServeConfig(name string) (*serveConfig, error) {
	c := &serveConfig{}
	if err := datafile.Decode("example", []byte(serveExample()), c); err != nil {
		return nil, err
	}
	if name != "" {
		src, err := bound.ReadFile(os.DirFS(filepath.Dir(name)), filepath.Base(name))
		if err != nil {
			return nil, faults{hinted{fmt.Errorf("configuration: %w", err), "echotally serve --help prints an example"}}
		}
		if err := datafile.Decode(name, src, c); err != nil {
			return nil, faults{err}
		}
	}
	if err := fromEnvironment("ECHOTALLY", reflect.ValueOf(c).Elem()); err != nil {
		return nil, err
	}
	return c, c.check()
}

func (c *serveConfig) check() error {
	switch {
	case c.QuietSeconds < 0 || c.QuietSeconds > 86_400:
		return misconfigured("quietSeconds is not between 0 and 86,400", "")
	case c.Spool == "":
		return misconfigured("spool names no folder", "a folder that is used for nothing else")
	}
	on := false
	for _, s := range c.sections() {
		if err := s.check(); err != nil {
			return err
		}
		on = on || s.says() != ""
	}
	if !on {
		return misconfigured("nothing would be served", "give dicom.listen or another part")
	}
	return nil
}

// misconfigured is a fault of the configuration.
func misconfigured(what, hint string) error {
	return faults{hinted{errors.New("configuration: " + what), hint}}
}

var capital = regexp.MustCompile("([a-z])([A-Z])")

// fromEnvironment sets what variables name: the path of a key in capitals, as
// ECHOTALLY_DICOM_IDLE_SECONDS. The entries of a list stand between commas.
func fromEnvironment(prefix string, v reflect.Value) error {
	for i := range v.NumField() {
		name := prefix + "_" + strings.ToUpper(capital.ReplaceAllString(v.Type().Field(i).Tag.Get("yaml"), "${1}_$2"))
		field := v.Field(i)
		if field.Kind() == reflect.Struct {
			if err := fromEnvironment(name, field); err != nil {
				return err
			}
			continue
		}
		text, found := os.LookupEnv(name)
		if !found {
			continue
		}
		var err error
		switch into := field.Addr().Interface().(type) {
		case *string:
			*into = text
		case *int:
			*into, err = strconv.Atoi(text)
		case *float64:
			*into, err = strconv.ParseFloat(text, 64)
		case *bool:
			*into, err = strconv.ParseBool(text)
		case *[]string:
			*into = strings.FieldsFunc(text, func(r rune) bool { return r == ',' })
		default:
			err = errors.New("of a kind that the environment cannot set")
		}
		if err != nil {
			return faults{hinted{fmt.Errorf("environment: %s does not hold a valid value", name), "write it as in the configuration"}}
		}
	}
	return nil
}

func seconds(n float64) time.Duration { return time.Duration(n * float64(time.Second)) }

// tlsFiles are the PEM files of a listener that is secured.
type tlsFiles struct {
	Certificate string `yaml:"certificate"`
	Key         string `yaml:"key"`
	Clients     string `yaml:"clients"` // authorities by one of which peers must be certified
}

// says what is added to the address in serve check.
func (t tlsFiles) says() string {
	if t == (tlsFiles{}) {
		return ""
	}
	return " with TLS"
}

// config is what TLS needs, nil for none. At names the place in the configuration.
func (t tlsFiles) config(at string) (*tls.Config, error) {
	if t == (tlsFiles{}) {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(t.Certificate, t.Key)
	if err != nil {
		return nil, misconfigured("certificate and key cannot be read, or do not belong together", at+".certificate and "+at+".key are PEM files")
	}
	out := &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	if t.Clients != "" {
		if out.ClientCAs = authorities(t.Clients); out.ClientCAs == nil {
			return nil, misconfigured(at+".clients holds no certificate of an authority", "name a PEM file")
		}
		out.ClientAuth = tls.RequireAndVerifyClientCert
	}
	return out, nil
}
