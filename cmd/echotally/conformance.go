package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/charset"
	"echotally/internal/dcm"
	"echotally/internal/dicomweb/origin"
	"echotally/internal/dimse"
	"echotally/internal/dimse/requestor"
	"echotally/internal/handback"
	"echotally/internal/layout"
	"echotally/internal/spool"
	"echotally/internal/sr/made"
)

func newConformanceCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "conformance",
		Short:   "Print the DICOM conformance statement",
		Long:    "Print the DICOM conformance statement of this program (in the order of PS3.2), made from what the program does.",
		Example: "  echotally conformance > conformance.md",
		Args:    cobra.NoArgs,
		RunE:    func(*cobra.Command, []string) error { return a.write("-", newFile, conformance) },
	}
}

// uidName is a UID with the standard's name for it (PS3.6 annex A).
type uidName struct{ uid, name string }

// storageClasses are those of which it is told whether they are taken.
var storageClasses = []uidName{
	{"1.2.840.10008.5.1.4.1.1.88.11", "Basic Text SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.22", "Enhanced SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.33", "Comprehensive SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.34", "Comprehensive 3D SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.35", "Extensible SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.40", "Procedure Log Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.59", "Key Object Selection Document Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.72", "Simplified Adult Echo SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.1", "Text SR Storage - Trial (Retired)"},
	{"1.2.840.10008.5.1.4.1.1.88.2", "Audio SR Storage - Trial (Retired)"},
	{"1.2.840.10008.5.1.4.1.1.88.3", "Detail SR Storage - Trial (Retired)"},
	{"1.2.840.10008.5.1.4.1.1.88.4", "Comprehensive SR Storage - Trial (Retired)"},
	{"1.2.840.10008.5.1.4.1.1.88.50", "Mammography CAD SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.65", "Chest CAD SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.67", "X-Ray Radiation Dose SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.68", "Radiopharmaceutical Radiation Dose SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.69", "Colon CAD SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.70", "Implantation Plan SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.71", "Acquisition Context SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.73", "Patient Radiation Dose SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.74", "Planned Imaging Agent Administration SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.75", "Performed Imaging Agent Administration SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.88.76", "Enhanced X-Ray Radiation Dose SR Storage"},
	{"1.2.840.10008.5.1.4.1.1.6.1", "Ultrasound Image Storage"},
	{"1.2.840.10008.5.1.4.1.1.3.1", "Ultrasound Multi-frame Image Storage"},
	{"1.2.840.10008.5.1.4.1.1.6.2", "Enhanced US Volume Storage"},
	{"1.2.840.10008.5.1.4.1.1.6", "Ultrasound Image Storage (Retired)"},
	{"1.2.840.10008.5.1.4.1.1.3", "Ultrasound Multi-frame Image Storage (Retired)"},
	{"1.2.840.10008.5.1.4.1.1.104.1", "Encapsulated PDF Storage"},
	{"1.2.840.10008.5.1.4.1.1.2", "CT Image Storage"},
	{"1.2.840.10008.5.1.4.1.1.9.1.1", "12-lead ECG Waveform Storage"},
}

var transferNames = map[string]string{
	dcm.ImplicitVRLittleEndian: "Implicit VR Little Endian", dcm.ExplicitVRLittleEndian: "Explicit VR Little Endian",
	dcm.ExplicitVRBigEndian: "Explicit VR Big Endian (Retired)", dcm.DeflatedExplicitVRLittleEndian: "Deflated Explicit VR Little Endian",
}

// conformance writes the statement.
func conformance(w io.Writer) error {
	p := &statement{w: w}
	f := dimse.Told()
	p.line("# DICOM conformance statement")
	p.line("echotally %s. "+layout.Caution+" This page is printed by `echotally conformance`.", version)
	overview(p)
	networking(p, f)
	webServices(p)
	p.line("## 5 Media interchange")
	p.line("Files of PS3.10 are read from folders and zip archives, with or without preamble and file meta information, and written in %s. A media directory (DICOMDIR) is not read: what it lists is.", named(dcm.ExplicitVRLittleEndian))
	sets(p)
	security(p)
	annex(p)
	return p.err
}

// statement is the page being written.
type statement struct {
	w   io.Writer
	err error
}

func (p *statement) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n\n", args...)
	}
}

// table writes a table.
func (p *statement) table(heads []string, rows [][]string) {
	var b strings.Builder
	b.WriteString("| " + strings.Join(heads, " | ") + " |\n|" + strings.Repeat(" --- |", len(heads)) + "\n")
	for _, r := range rows {
		b.WriteString("| " + strings.Join(r, " | ") + " |\n")
	}
	p.line("%s", strings.TrimSuffix(b.String(), "\n"))
}

func named(transfer string) string { return transferNames[transfer] + " (" + transfer + ")" }

// className is the standard's name of a SOP class.
func className(uid string) string {
	for _, c := range storageClasses {
		if c.uid == uid {
			return c.name
		}
	}
	return uid
}

func takenClasses(takes func(string) bool) (taken, not []uidName) {
	for _, c := range storageClasses {
		if takes(c.uid) {
			taken = append(taken, c)
		} else {
			not = append(not, c)
		}
	}
	return taken, not
}

// handedBack are the classes of objects that are made.
func handedBack() []string {
	return []string{handback.KeyObjectClass, handback.TextClass, handback.PDFClass}
}

func overview(p *statement) {
	p.line("## 1 Overview")
	p.line("The program receives structured reports and ultrasound images, reads the reports and the headers of the images, and hands back, when asked to, objects about a study. It gives out no object that it received.")
	rows := [][]string{{"Verification", "yes", "yes"}}
	taken, _ := takenClasses(stored)
	sends := handedBack()
	for _, c := range taken {
		rows = append(rows, []string{c.name, yes(slices.Contains(sends, c.uid)), "yes"})
	}
	for _, uid := range sends {
		if !stored(uid) {
			rows = append(rows, []string{className(uid), "yes", "no"})
		}
	}
	p.table([]string{"Network service", "User (SCU)", "Provider (SCP)"}, rows)
}

func yes(is bool) string {
	if is {
		return "yes"
	}
	return "no"
}

func networking(p *statement, f dimse.Facts) {
	p.line("## 2 Introduction")
	p.line("For those who connect the program to scanners and archives. Interoperation beyond what is stated here has to be tried. Terms are those of PS3.2.")
	p.line("## 3 Networking")
	p.line("### 3.1 Implementation")
	p.line("`echotally serve` is one application entity that accepts associations (Verification and Storage as provider). `echotally export` is one that requests them (the same, as user), one association for the objects of one study. Neither requests on its own: a person gives the command.")
	p.table([]string{"Fact", "Value"}, [][]string{
		{"Application context", f.ApplicationContext}, {"Implementation class UID", f.ImplementationClass}, {"Implementation version name", f.ImplementationName},
		{"Longest PDU taken", fmt.Sprint(f.MostPDU) + " bytes"}, {"Longest PDU sent", "what the peer takes, at most the same"}, {"Presentation contexts of an association, at most", fmt.Sprint(f.MostContexts)},
		{"Longest command set taken", fmt.Sprint(f.MostCommand) + " bytes"}, {"Asynchronous operations window", "1, not negotiated"}, {"Extended negotiation, role selection, user identity", "none"},
	})
	p.line("### 3.2 Provider (`echotally serve`)")
	p.table([]string{"SOP class", "UID", "Transfer syntax"}, classRows(append([]uidName{{f.Verification, "Verification"}}, first(takenClasses(stored))...)))
	p.line("Of each context the first transfer syntax proposed is accepted, whatever it is, since what comes is kept as it is. Contents are read in %s; of images, only the header is read, in any transfer syntax in which it is explicit little endian.", list(dcm.ImplicitVRLittleEndian, dcm.ExplicitVRLittleEndian, dcm.ExplicitVRBigEndian, dcm.DeflatedExplicitVRLittleEndian))
	p.table([]string{"Limit", "Value"}, [][]string{
		{"Associations at a time", fmt.Sprintf("%d; `dicom.associations`", dimse.DefaultAssociations)}, {"Wait for the request of an association", dimse.DefaultOpening.String()},
		{"Wait for a peer within an association", dimse.DefaultIdle.String() + "; `dicom.idleSeconds`"}, {"Object", size(dimse.DefaultMostBytes)},
	})
	p.line("An object is acknowledged when it is whole and on the disk. It is kept as it came (level 2, full; no element is changed), and not given out. One that cannot be read is kept apart. Statuses of C-STORE:")
	p.table([]string{"Status", "When"}, statusRows())
	p.line("### 3.3 User (`echotally export dicom --send`, `echotally export echo`)")
	var rows [][]string
	for _, uid := range handedBack() {
		rows = append(rows, []string{className(uid), uid, list(handback.Transfer...)})
	}
	p.table([]string{"SOP class", "UID", "Transfer syntaxes, the preferred first"}, append([][]string{{"Verification", f.Verification, named(requestor.Verify().Transfer[0])}}, rows...))
	p.line("Each transfer syntax is proposed in a presentation context of its own. The wait for a connection is %s, for an answer %s (`--wait`). An object counts as stored at status 0000, B000, B006 and B007; any other ends the command with exit code 1, after all objects were tried. Nothing is sent again by itself.", requestor.DefaultConnect, dimse.DefaultIdle)
	p.line("### 3.4 Configuration")
	p.line("AE titles: `dicom.title` (empty answers to any), `dicom.allow` (who may call; empty lets all); as user `--calling`, ECHOTALLY unless given. Address and port: `dicom.listen`, 127.0.0.1:11112 unless given. IPv4 and IPv6.")
}

func first(taken, _ []uidName) []uidName { return taken }

func classRows(classes []uidName) [][]string {
	var out [][]string
	for _, c := range classes {
		out = append(out, []string{c.name, c.uid, "any, the first proposed"})
	}
	return out
}

func list(transfer ...string) string {
	var out []string
	for _, t := range transfer {
		out = append(out, named(t))
	}
	return strings.Join(out, ", ")
}

func size(bytes int64) string { return fmt.Sprintf("%d MiB", bytes>>20) }

// statusRows are what a sender is told.
func statusRows() [][]string {
	var out [][]string
	for _, s := range []struct {
		status spool.Status
		when   string
	}{
		{spool.Success, "whole and on the disk"}, {spool.OutOfResources, "the disk is full, or the object is larger than is taken"},
		{spool.DoesNotMatch, "another SOP class or instance than the command names"}, {spool.CannotUnderstand, "no DICOM object, or a report that cannot be read"},
	} {
		out = append(out, []string{fmt.Sprintf("%04X", uint16(s.status)), s.when})
	}
	return out
}

// webServices is about DICOM web services.
func webServices(p *statement) {
	p.line("## 4 Web services")
	p.line("Origin server of the store transaction (STOW-RS, PS3.18 section 10.5) at `%s/studies` and `%s/studies/{study}`, when `stow.listen` is given: application/dicom in multipart/related, the SOP classes of 3.2, answers in application/dicom+json. A bearer token, or certificates of clients; beyond the machine itself only with TLS.", origin.Base, origin.Base)
	p.line("User agent of the store transaction with `echotally export dicom --stow`: one request for the objects of a study, in %s. Redirections are not followed, and other machines than this one are posted to by https only.", named(dcm.ExplicitVRLittleEndian))
	p.line("User agent of search (QIDO-RS) and retrieve (WADO-RS) with `echotally fetch`: the report and ultrasound series of the studies of some days, reports whole, of images what comes before the pixels where that can be helped. No search and no retrieval as origin server.")
}

// characterSets are the defined terms of PS3.3 C.12.1.1.2.
var characterSets = []string{
	"", "ISO_IR 100", "ISO_IR 101", "ISO_IR 109", "ISO_IR 110", "ISO_IR 144", "ISO_IR 127", "ISO_IR 126", "ISO_IR 138", "ISO_IR 148", "ISO_IR 203", "ISO_IR 13", "ISO_IR 166",
	"ISO 2022 IR 6", "ISO 2022 IR 100", "ISO 2022 IR 101", "ISO 2022 IR 109", "ISO 2022 IR 110", "ISO 2022 IR 144", "ISO 2022 IR 127", "ISO 2022 IR 126", "ISO 2022 IR 138",
	"ISO 2022 IR 148", "ISO 2022 IR 203", "ISO 2022 IR 13", "ISO 2022 IR 166", "ISO 2022 IR 87", "ISO 2022 IR 159", "ISO 2022 IR 149", "ISO 2022 IR 58", "ISO_IR 192", "GB18030", "GBK",
}

// sets is about character sets.
func sets(p *statement) {
	p.line("## 6 Character sets")
	var read, not []string
	for _, term := range characterSets {
		name := layout.OrElse(term, "the default repertoire")
		terms := []string{term}
		if strings.HasPrefix(term, "ISO 2022") {
			terms = []string{"", term}
		}
		if _, wrong := charset.Parse(terms...); len(wrong) == 0 {
			read = append(read, name)
		} else {
			not = append(not, name)
		}
	}
	p.line("Read: %s.", strings.Join(read, ", "))
	if len(not) > 0 {
		p.line("Not read: %s.", strings.Join(not, ", "))
	}
	p.line("Written: ISO_IR 192.")
}

// security is about TLS and who may do what.
func security(p *statement) {
	p.line("## 7 Security")
	p.line("TLS 1.2 and 1.3 (the suites of the Go library, which has no weak ones), for the provider with `dicom.tls`, for the user with `--tls`. The provider may demand certificates of peers (`dicom.tls.clients`); the user checks the certificate of the peer against the system's authorities or those of `--tls-authorities`, and its name against the address. Without TLS nothing is encrypted: serve then by a network that is guarded otherwise.")
	p.line("Patient names and identifiers are in no log line and no error. De-identification (`echotally deidentify`): Basic Application Level Confidentiality Profile with Clean Structured Content, Clean Descriptors, Modified Dates and Retain Patient Characteristics, of structured reports.")
}

// annex is about the objects that are made.
func annex(p *statement) {
	p.line("## 8 Annex: objects that are made")
	var rows [][]string
	for _, k := range handback.Kinds() {
		rows = append(rows, []string{"`--" + string(k.Kind) + "`", className(k.Class), k.Modality, layout.OrElse(k.Title, "none of the standard")})
	}
	p.table([]string{"Asked for by", "SOP class", "Modality", "Title"}, rows)
	p.line("Modules Patient, Patient Study and General Study are copied from an object of the study; what the type 2 attributes lack is empty. Series, instance and equipment are new: Manufacturer (0008,0070) is %q, UIDs have the root 2.25 and are derived, so that the same findings have the same. Verification Flag (0040,A493) is UNVERIFIED where there is one. Observer is a device (PS3.16 TID 1002, 1004). Codes of the scheme %s (%s) name findings of the record. Instances written by the program are passed over when they are read.", made.Maker, handback.Scheme, handback.SchemeUID)
	p.line("Key Object Selection follows TID 2010. The titles that reject instances (113001, 113037, 113038, 113039) are never written. The encapsulated document is of even length, and what takes it out gives the same bytes.")
}
