package main

import (
	"context"
	"errors"

	"echotally/internal/agreement"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/docket"
	"echotally/internal/store"
	"echotally/internal/web/evidence"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

// evidencePages give the page what the lab has to show, as review report does.
func (s *serving) evidencePages(of *period.Pages) *evidence.Pages {
	return &evidence.Pages{Agreement: s.agreed, Period: of}
}

func (s *serving) agreed(ctx context.Context, ledger *store.Store, opt audit.Options, of []int) (*booklet.Booklet, error) {
	lib, items, err := s.items()
	if err != nil {
		return nil, err
	}
	read, err := docket.Entries(ctx, ledger)
	if err != nil || len(read) == 0 {
		return nil, err
	}
	chosen, title, err := drawsOf(ctx, ledger, of)
	if _, none := errors.AsType[faults](err); none {
		return nil, frame.ErrNotFound
	}
	if err != nil {
		return nil, err
	}
	people := readersOf(chosen, read)
	if len(people) == 0 {
		return nil, nil
	}
	return s.agreement(lib, agreement.Compare(items, chosen, read, codes(opt.Mark, title, people)), title, pdfpage.A4), nil
}
