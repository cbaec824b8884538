package main

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/booklet/pdfpage"
)

// setFlags say where a set of documents is written to, and on which paper.
type setFlags struct {
	out   string
	paper paperFlag
}

// paperFlag is a kind of paper as a flag, in small letters.
type paperFlag struct{ pdfpage.Paper }

// String, Set and Type are those of a flag.
func (p *paperFlag) String() string { return strings.ToLower(string(p.Paper)) }

// Set reads the name of a kind of paper.
func (p *paperFlag) Set(text string) error {
	for _, one := range pdfpage.Papers() {
		if strings.EqualFold(text, string(one)) {
			p.Paper = one
			return nil
		}
	}
	return errors.New("a4 or letter")
}

// Type names what the flag takes.
func (p *paperFlag) Type() string { return "paper" }

func (f *setFlags) addSet(cmd *cobra.Command) {
	f.paper.Paper = pdfpage.A4
	cmd.Flags().StringVar(&f.out, "out", "", "empty folder to write to")
	cmd.Flags().Var(&f.paper, "paper", "paper of what is for print: a4 or letter")
	complete(cmd, "paper", "a4", "letter")
}
