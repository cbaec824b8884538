package main

import (
	"context"
	"errors"
	"net"
	"os"
	"strings"

	"echotally/internal/dcm"
	"echotally/internal/dimse"
	"echotally/internal/spool"
	"echotally/internal/sr"
)

// dicomSection is what the configuration says of the DICOM listener.
type dicomSection struct {
	Listen       string   `yaml:"listen"`
	Title        string   `yaml:"title"`
	Allow        []string `yaml:"allow"`
	Associations int      `yaml:"associations"`
	IdleSeconds  float64  `yaml:"idleSeconds"`
	TLS          tlsFiles `yaml:"tls"`
}

func (*dicomSection) example() string {
	return `dicom:
  listen: 127.0.0.1:11112   # address and port; 0.0.0.0:11112 for all of this machine; empty for none
  title: ""                 # own AE title; empty answers to any
  allow: []                 # AE titles that may call; empty lets all call
  associations: 256         # at one time
  idleSeconds: 30           # longest wait for a peer within an association
  tls:
    certificate: ""         # PEM file; empty for no TLS
    key: ""                 # PEM file
    clients: ""             # PEM file of authorities; peers must show a certificate by one of them
`
}

func (d *dicomSection) check() error {
	if d.Listen == "" {
		return nil
	}
	if _, _, err := net.SplitHostPort(d.Listen); err != nil {
		return misconfigured("dicom.listen has to be an address with a port", "such as 127.0.0.1:11112")
	}
	for _, title := range append([]string{d.Title}, d.Allow...) {
		if len(title) > 16 || strings.ContainsFunc(title, func(r rune) bool { return r < ' ' || r > '~' || r == '\\' }) {
			return misconfigured("an AE title in dicom.title or dicom.allow is longer than 16 characters, or not ASCII", "write it as it is set at the scanner")
		}
	}
	switch {
	case d.Associations < 1 || d.Associations > 10_000:
		return misconfigured("dicom.associations is not between 1 and 10,000", "")
	case d.IdleSeconds < 1 || d.IdleSeconds > 3600:
		return misconfigured("dicom.idleSeconds is not between 1 and 3,600", "")
	}
	_, err := d.TLS.config("dicom.tls")
	return err
}

func (d *dicomSection) says() string {
	if d.Listen == "" {
		return ""
	}
	return "DICOM on " + d.Listen + d.TLS.says()
}

func (d *dicomSection) begin(ctx context.Context, s *serving) error {
	if d.Listen == "" {
		return nil
	}
	secured, err := d.TLS.config("dicom.tls")
	if err != nil {
		return err
	}
	listener, err := s.listen("DICOM", "dicom.listen", d.Listen)
	if err != nil {
		return err
	}
	server := &dimse.Server{
		Title: d.Title, Allowed: d.Allow, Storage: stored, Spool: s.spool, TLS: secured, Log: s.record.Log, Idle: seconds(d.IdleSeconds),
		Opening: dimse.DefaultOpening, Associations: d.Associations, MostBytes: dimse.DefaultMostBytes,
	}
	s.group.Go(func() error { return server.Serve(ctx, listener) })
	return nil
}

// stored says which SOP classes are taken: structured reports and ultrasound images
// (PS3.4 annex B.5), also by their retired classes.
func stored(class string) bool {
	switch class {
	case "1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1", "1.2.840.10008.5.1.4.1.1.6", "1.2.840.10008.5.1.4.1.1.3", "1.2.840.10008.5.1.4.1.1.6.2":
		return true
	}
	return sr.IsStructuredReport(class)
}

// received looks at an object that has come: a report has to be one that can be read.
func received(path string) (spool.Identity, spool.Status, error) {
	f, err := os.Open(path)
	if err != nil {
		return spool.Identity{}, spool.OutOfResources, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return spool.Identity{}, spool.OutOfResources, err
	}
	is, err := dcm.Identify(f, info.Size())
	if err != nil {
		return spool.Identity{}, spool.CannotUnderstand, errors.New("not a readable DICOM object")
	}
	out := spool.Identity{Class: is.SOPClassUID, Instance: is.SOPInstanceUID, Study: is.StudyInstanceUID}
	if !is.Report() {
		return out, spool.Success, nil
	}
	content, err := os.ReadFile(path)
	if err != nil {
		return out, spool.OutOfResources, err
	}
	file, err := dcm.ReadBytes(content)
	if err != nil {
		return out, spool.CannotUnderstand, err
	}
	defer file.Release()
	if _, err := sr.Parse(file); err != nil {
		return out, spool.CannotUnderstand, err
	}
	return out, spool.Success, nil
}
