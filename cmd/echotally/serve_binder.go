package main

import (
	"archive/zip"
	"bytes"
	"context"
	"os"
	"path/filepath"

	"echotally/internal/accreditation"
	"echotally/internal/audit"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/counted"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/web/binder"
	"echotally/internal/web/period"
)

// binderPages give the page the binder, as the command binder makes it.
func (s *serving) binderPages(of *period.Pages) *binder.Pages {
	return &binder.Pages{
		Sets: s.sets, Said: saidOf, Record: attach, Write: binderDocuments, Period: of,
		Build: func(ctx context.Context, ledger *store.Store, set *accreditation.Set, opt audit.Options, studies []counted.Study) (*accreditation.Binder, error) {
			material, err := shownBy(ctx, ledger, studies, opt)
			if err != nil {
				return nil, err
			}
			return accreditation.Build(set, material), nil
		},
		TakeBack: func(ctx context.Context, ledger *store.Store, w decision.Withdrawal) error {
			return decision.TakeBack(ctx, ledger, attachmentKind, w)
		},
	}
}

// sets are the sets of requirements there are.
func (a *app) sets() ([]*accreditation.Set, error) {
	layers, err := a.layers()
	if err != nil {
		return nil, err
	}
	names, err := accreditation.Names(layers...)
	if err != nil {
		return nil, err
	}
	var out []*accreditation.Set
	for _, name := range names {
		one, err := accreditation.Load(name, layers...)
		if err != nil {
			return nil, faults{err}
		}
		out = append(out, one)
	}
	return out, nil
}

// saidOf are the decisions about requirements, in their order.
func saidOf(ctx context.Context, ledger *store.Store) ([]binder.Said, error) {
	all, err := decision.AllSaid[accreditation.Attachment](ctx, ledger, attachmentKind)
	if err != nil {
		return nil, err
	}
	takes := map[int]*decision.Withdrawal{}
	var out []binder.Said
	for _, one := range all {
		if one.Takes != nil {
			takes[one.Takes.Withdraws] = one.Takes
		}
	}
	for _, one := range all {
		if one.Takes == nil {
			one.Body.Number = one.Place
			out = append(out, binder.Said{Attachment: one.Body, At: one.At, Withdrawn: takes[one.Place]})
		}
	}
	return out, nil
}

// binderDocuments writes the binder and packs it.
func binderDocuments(b *accreditation.Binder, report *audit.Report) (*binder.Documents, error) {
	out := &binder.Documents{}
	err := packed(&out.Zip, func(dir string) error {
		if err := writeBinder(dir, b, report, report.Options, pdfpage.A4); err != nil {
			return err
		}
		var err error
		if out.PDF, err = os.ReadFile(filepath.Join(dir, "binder.pdf")); err == nil {
			out.Open, err = os.ReadFile(filepath.Join(dir, "open.pdf"))
		}
		return err
	})
	return out, err
}

// packed is what is written to a folder, as an archive. The folder is gone afterwards.
func packed(into *[]byte, write func(dir string) error) error {
	dir, err := os.MkdirTemp("", "echotally-pack-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := write(dir); err != nil {
		return err
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	if err := z.AddFS(os.DirFS(dir)); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	*into = b.Bytes()
	return nil
}
