package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/dimse"
	"echotally/internal/dimse/requestor"
)

func newExportCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Hand results back to other systems",
		Long: `Hand back what was found: as DICOM objects about a study to a folder, an archive or a
DICOM web service, or as FHIR R4 resources. Nothing is handed back unless asked for.`,
		Example: "  echotally export dicom study.zip --findings --to handback\n  echotally export fhir --month 2026-10 --output october.json",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newExportDICOMCommand(a), newExportEchoCommand(a), newExportFHIRCommand(a))
	return cmd
}

// peerFlags say how a DICOM peer is called.
type peerFlags struct {
	calling                      string
	secured                      bool
	authorities, certificate, id string
	wait                         time.Duration
}

func (p *peerFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&p.calling, "calling", "ECHOTALLY", "own AE title")
	flags.BoolVar(&p.secured, "tls", false, "call by TLS")
	flags.StringVar(&p.authorities, "tls-authorities", "", "PEM file of authorities whose certificates are believed (default: those of the system)")
	flags.StringVar(&p.certificate, "tls-certificate", "", "PEM file of the own certificate, where the peer asks for one")
	flags.StringVar(&p.id, "tls-key", "", "PEM file of its private key")
	flags.DurationVar(&p.wait, "wait", dimse.DefaultIdle, "longest wait for an answer")
}

// peer reads AE@host:port.
func (p *peerFlags) peer(text string) (requestor.Peer, error) {
	title, address, ok := strings.Cut(text, "@")
	host, _, err := net.SplitHostPort(address)
	if !ok || err != nil || title == "" || host == "" {
		return requestor.Peer{}, faults{hinted{errors.New("the peer has to be written as AE@host:port"), "such as ARCHIVE@pacs.example:11112"}}
	}
	if err := p.waits(); err != nil {
		return requestor.Peer{}, err
	}
	out := requestor.Peer{Address: address, Called: title, Calling: p.calling, Connect: min(p.wait, requestor.DefaultConnect), Idle: p.wait}
	if p.secured || p.authorities+p.certificate+p.id != "" {
		if out.TLS, err = p.tls(); err != nil {
			return requestor.Peer{}, err
		}
		out.TLS.ServerName = host
	}
	return out, nil
}

// tls is what a call by TLS believes and shows.
func (p *peerFlags) tls() (*tls.Config, error) {
	return callsBy(pemFile{"--tls-authorities", p.authorities}, pemFile{"--tls-certificate", p.certificate}, pemFile{"--tls-key", p.id})
}

// waits says whether --wait can be kept to.
func (p *peerFlags) waits() error {
	if p.wait < time.Second || p.wait > time.Hour {
		return unusable("--wait is not between a second and an hour", "such as 30s")
	}
	return nil
}

func newExportEchoCommand(a *app) *cobra.Command {
	p := &peerFlags{}
	cmd := &cobra.Command{
		Use:     "echo AE@HOST:PORT",
		Short:   "Ask a DICOM peer whether it answers",
		Long:    "Open an association with a DICOM peer and ask for Verification (C-ECHO).",
		Example: "  echotally export echo ARCHIVE@pacs.example:11112\n  echotally export echo ARCHIVE@pacs.example:2762 --tls --tls-authorities hospital.pem",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			peer, err := p.peer(args[0])
			if err != nil {
				return err
			}
			if err := asked(cmd.Context(), peer); err != nil {
				return hinted{fmt.Errorf("%s: %w", args[0], err), "check address, AE titles and TLS at the peer"}
			}
			_, err = fmt.Fprintf(a.stdout, "%s answers\n", args[0])
			return err
		},
	}
	p.add(cmd)
	return cmd
}

func asked(ctx context.Context, peer requestor.Peer) error {
	r, err := requestor.Call(ctx, peer, requestor.Verify())
	if err != nil {
		return err
	}
	defer r.Close()
	return r.Echo()
}
