package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/fhir"
	"echotally/internal/fhir/imagingstudy"
	"echotally/internal/fhir/resource"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/store/waiver"
)

// exportFHIRFlags are the flags of export fhir.
type exportFHIRFlags struct {
	periodFlags
	outputFlags
	study string
}

func newExportFHIRCommand(a *app) *cobra.Command {
	f := &exportFHIRFlags{}
	cmd := &cobra.Command{
		Use:   "fhir --month 2026-10",
		Short: "Hand back FHIR R4 resources",
		Long: `Write a FHIR R4 bundle (JSON). Of a period: the headline measures and each rule that
applied, as Measure and MeasureReport (summary) with the standard's populations; it
names no patient, no study and no staff. Of one study of the ledger (--study): its
measurements as Observation, what was found of its record as DetectedIssue, and each
demand as an individual MeasureReport; the patient is not named, the study is known by
its DICOM UID. Nothing is judged again: a study is handed back as the ledger judged it
last.

Identifiers are the same each time, so that a system that takes a bundle in again
updates what it has. What a rule found is preliminary: nobody looked at it.`,
		Example: "  echotally export fhir --month 2026-10 --output october.json\n  echotally export fhir --study 2.25.1234 --store lab.db --output study.json",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.periodFlags.add(cmd)
	f.addFile(cmd)
	cmd.Flags().StringVar(&f.study, "study", "", "Study Instance UID of one study, in place of a period")
	return cmd
}

func (f *exportFHIRFlags) run(ctx context.Context, a *app) error {
	if f.study != "" && f.month+f.quarter+f.year+f.from+f.to != "" {
		return faults{hinted{errors.New("--study and a period do not go together"), "give one of them"}}
	}
	if err := f.spared([]string{f.store, f.settings}, isBundle); err != nil {
		return err
	}
	set, err := a.judging(library.Settings{})
	if err != nil {
		return err
	}
	var b *resource.Bundle
	if f.study != "" {
		b, err = f.ofStudy(ctx, a, set)
	} else {
		b, err = f.ofPeriod(ctx, a, set)
	}
	if err != nil {
		return err
	}
	return a.write(f.output, newFile, func(w io.Writer) error { return layout.Encode(w, true, b) })
}

// isBundle reports whether what begins so is an earlier bundle.
func isBundle(head []byte) bool {
	const begin = "{\n  \"resourceType\": \"Bundle\","
	return len(head) >= len(begin) && string(head[:len(begin)]) == begin
}

func (f *exportFHIRFlags) ofPeriod(ctx context.Context, a *app, set *library.Library) (*resource.Bundle, error) {
	opt, err := f.options(ctx, a, set)
	if err != nil {
		return nil, err
	}
	ledger, err := f.viewKeyed(ctx)
	if err != nil {
		return nil, err
	}
	defer ledger.Close()
	defer a.sparing()()
	studies, err := f.studies(ctx, ledger, opt.Period.Reach(), set, nil)
	if err != nil {
		return nil, err
	}
	report := audit.Build(studies.before, opt)
	if report.Received == 0 {
		return nil, hinted{fmt.Errorf("no study of %s in the ledger: nothing was counted", opt.Period.Name), "echotally ledger stats shows which days it holds"}
	}
	return fhir.Summary(report), nil
}

func (f *exportFHIRFlags) ofStudy(ctx context.Context, a *app, set *library.Library) (*resource.Bundle, error) {
	ledger, err := f.viewKeyed(ctx)
	if err != nil {
		return nil, err
	}
	defer ledger.Close()
	latest, err := ledger.LatestJudgement(ctx, f.study)
	if err != nil {
		return nil, err
	}
	if latest == nil {
		return nil, hinted{errors.New("the ledger has not judged a study of this UID"), "echotally intake records and judges it"}
	}
	found, judged, err := ledger.Judgement(ctx, f.study, latest.Library.Digest)
	if err != nil {
		return nil, err
	}
	all, err := ledger.Waivers(ctx, f.study)
	if err != nil {
		return nil, err
	}
	meanings := map[string]string{}
	for _, r := range waiver.Reasons() {
		meanings[r.Code] = r.Meaning
	}
	var hold []imagingstudy.Waiver
	for _, w := range all {
		if !w.Withdrawn {
			hold = append(hold, imagingstudy.Waiver{Rule: w.Rule, Reason: w.Reason, Meaning: meanings[w.Reason], At: w.At, Excepts: w.Effect != waiver.Missing})
		}
	}
	return imagingstudy.Bundle(imagingstudy.Judged{Study: judged, Judgement: found, Measurands: set.Measurands, Waivers: hold, Created: a.now()}), nil
}
