package main

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/census"
	"echotally/internal/counted"
	"echotally/internal/datafile/bound"
	"echotally/internal/library"
	"echotally/internal/printable"
	"echotally/internal/store"

	"github.com/spf13/cobra"
)

// periodFlags say which studies of the ledger are looked at.
type periodFlags struct {
	ledgerFlags
	month, quarter, year, from, to string
	lab                            string
	floor                          int
	settings                       string
	floorGiven                     func() bool
}

func (p *periodFlags) add(cmd *cobra.Command) {
	p.ledgerFlags.add(cmd)
	p.addKey(cmd)
	flags := cmd.Flags()
	flags.StringVar(&p.month, "month", "", "month, such as 2026-10")
	flags.StringVar(&p.quarter, "quarter", "", "quarter, such as 2026-Q3")
	flags.StringVar(&p.year, "year", "", "year, such as 2026")
	flags.StringVar(&p.from, "from", "", "first study date, with --to")
	flags.StringVar(&p.to, "to", "", "last study date, with --from")
	flags.StringVar(&p.lab, "lab", "", "one lab only, as the list of stations names it")
	flags.IntVar(&p.floor, "floor", audit.Defaults().Floor, "studies below which no person is judged; wins over --settings")
	flags.StringVar(&p.settings, "settings", "", "the lab's settings file: targets, standard, holidays, limits")
	p.floorGiven = func() bool { return flags.Changed("floor") }
}

// period reads the one that was given.
func (p *periodFlags) period() (calendar.Period, error) {
	var (
		out calendar.Period
		err error
	)
	given := 0
	for _, text := range []string{p.month, p.quarter, p.year, p.from + p.to} {
		if text != "" {
			given++
		}
	}
	switch {
	case given != 1:
		return out, faults{hinted{fmt.Errorf("%d periods given, one is needed", given), "give --month, --quarter, --year, or --from with --to"}}
	case p.month != "":
		out, err = calendar.Month(p.month)
	case p.quarter != "":
		out, err = calendar.Quarter(p.quarter)
	case p.year != "":
		out, err = calendar.Year(p.year)
	default:
		out, err = calendar.Between(p.from, p.to)
	}
	if err != nil {
		return out, faults{hinted{err, "a period is --month 2026-10, --quarter 2026-Q3, --year 2026, or --from 2026-01-05 --to 2026-03-01"}}
	}
	return out, nil
}

// options are the choices of the run.
func (p *periodFlags) options(ctx context.Context, a *app, set *library.Library) (audit.Options, error) {
	opt := audit.Defaults()
	var err error
	if opt.Period, err = p.period(); err != nil {
		return opt, err
	}
	if p.settings != "" {
		src, err := bound.ReadFile(os.DirFS(filepath.Dir(p.settings)), filepath.Base(p.settings))
		if err != nil {
			return opt, faults{hinted{fmt.Errorf("settings: %w", err), "echotally audit --help prints an example"}}
		}
		if err := opt.ReadSettings(p.settings, src); err != nil {
			return opt, faults{err}
		}
	}
	if p.floor < 1 {
		return opt, faults{fmt.Errorf("--floor %d: at least 1", p.floor)}
	}
	if p.settings == "" || p.floorGiven() {
		opt.Floor = p.floor
	}
	opt.Lab, opt.Software, opt.RuleSet, opt.Edition = printable.Line(p.lab), "echotally "+version, set.Version, set.Edition
	opt.Cutoff, opt.Created, opt.Scales = a.now(), a.now(), counted.ScalesOf(set)
	opt.Mark = p.marker(ctx)
	return opt, nil
}

// marker gives the keyed hash that orders the codes of staff: by the ledger's
// key, or, where that is not at hand, by one made for this run.
func (p *periodFlags) marker(ctx context.Context) func(string) string {
	if key, err := p.readKey(ctx); err == nil {
		return key.Pseudonym
	}
	return randomMark()
}

// randomMark is a keyed hash by a key of this run.
func randomMark() func(string) string {
	secret := make([]byte, sha256.Size)
	rand.Read(secret) // never fails (crypto/rand)
	return func(text string) string {
		h := hmac.New(sha256.New, secret)
		h.Write([]byte(text))
		return hex.EncodeToString(h.Sum(nil))
	}
}

// beforeAndAfter are the studies of a period reduced to what is counted, by the rule
// set that judges and, when rules are compared, by another.
type beforeAndAfter struct{ before, after []counted.Study }

// studies gives the studies the charts of a period need. What the rule set
// before has not judged yet is judged here; after is nil when nothing is to be
// compared.
func (p *periodFlags) studies(ctx context.Context, ledger census.Figures, look calendar.Period, before, after *library.Library) (beforeAndAfter, error) {
	was, is, err := census.Studies(ctx, ledger, look, store.Filter{Lab: p.lab}, before, after)
	return beforeAndAfter{was, is}, err
}
