package main

import (
	"context"
	"errors"
	"slices"

	"echotally/internal/accreditation"
	"echotally/internal/agreement"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/docket"
	"echotally/internal/store"
	"echotally/internal/web/evidence"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

// evidencePages give the page what the lab has to show, as binder and review report do.
func (s *serving) evidencePages(of *period.Pages) *evidence.Pages {
	return &evidence.Pages{Sets: s.sets, Build: s.binder, Agreement: s.agreed, Period: of}
}

func (s *serving) sets() ([]evidence.Set, error) {
	layers, err := s.layers()
	if err != nil {
		return nil, err
	}
	names, err := accreditation.Names(layers...)
	if err != nil {
		return nil, err
	}
	var out []evidence.Set
	for _, name := range names {
		one, err := accreditation.Load(name, layers...)
		if err != nil {
			return nil, err
		}
		out = append(out, evidence.Set{Name: name, Title: one.Title, Source: one.Source})
	}
	return out, nil
}

func (s *serving) binder(ctx context.Context, ledger *store.Store, set string, opt audit.Options) (*booklet.Booklet, error) {
	requirements, err := s.requirements(set)
	if err != nil {
		return nil, err
	}
	material, _, err := (&binderFlags{}).material(ctx, ledger, s.rules.work.Desk().Library, opt)
	if err != nil {
		return nil, err
	}
	b := accreditation.Build(requirements, material)
	return &booklet.Booklet{
		Front:  []booklet.Passage{{Title: "In short", Lines: b.Short()}},
		Tables: slices.Concat([]audit.Table{b.Requirements(), b.Open(), b.Ahead(), b.Files()}, b.Tables),
	}, nil
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
	return s.agreement(lib, agreement.Compare(items, chosen, read, codes(opt.Mark, title, people)), title, booklet.A4), nil
}
