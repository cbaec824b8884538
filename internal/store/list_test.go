package store

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"echotally/internal/store/lablist"
	"echotally/internal/store/waiver"
)

func TestFaultyRowsAreToldAndGoodOnesKept(t *testing.T) {
	for _, c := range []struct {
		name          string
		kind          lablist.Kind
		text          string
		rows, changed int
		faults        []string
	}{
		{"roster", lablist.Roster, "role,name\nsonographer,Doe^Jane\nchief,Roe^Rita\n,Poe^Paul\nreader,---\nreader,Moe^Max,extra\n", 1, 1, []string{
			"3: role: not a role (hint: one of sonographer, reader, trainee)",
			"4: role: empty (hint: sonographer, reader or trainee)",
			"5: name: holds no letter (hint: the name as in the reports)",
			"6: 3 cells where the first line names 2 columns",
		}},
		{"semicolons, mark of byte order, other columns", lablist.Labs, "\xEF\xBB\xBFStation;Lab;Site;Timezone;Comment\nbarrow-1;main;north;Europe/Berlin;x\nbarrow-2;main;north;Mars/Olympus;x\n", 1, 1, []string{
			"1: column 5 is not known and not read (hint: echotally intake --help tells the columns)",
			"3: timezone: not a time zone (hint: an IANA name, such as Europe/Berlin)",
		}},
		{"sign-off", lablist.Signoff, "study,accession,ended,read,signed,setting\n1.2,,2026-03-14T10:00,2026-03-14 11:00,2026-03-14T12:00:30,Inpatient\n,,2026-03-14T10:00,,,\n1.x,,2026-03-14T10:00,,,\n" +
			"1.3,,14.3.2026,,,\n1.3,,2026-03-14T10:00,,2026-03-14T09:00,\n1.3,,,,,\n1.3,,2026-03-14T10:00,,,ward\n1.4,\"A\"\"\" B,,,,\n", 1, 1, []string{
			"3: study: neither study nor accession is given (hint: one of them tells which study it is)",
			"4: study: not a Study Instance UID (hint: digits and dots; an accession number has a column of its own)",
			"5: ended: not a time (hint: write 2026-10-31T14:05, with seconds and offset where known)",
			"6: signed: before ended (hint: ended, read and signed follow each other)",
			"7: ended: no time is given (hint: at least one of ended, read, signed)",
			"8: setting: not a setting (hint: one of inpatient, outpatient, urgent, emergency)",
			"9: not a row of CSV: extraneous or missing \" in quoted-field",
		}},
		{"other tests", lablist.Correlation, "accession,measurand,test,value,unit,date\nA1,aortic-valve-mean-gradient,Catheter,42.5,mm[Hg],2026-10-31\nA1,aortic-valve-mean-gradient,guess,42,mm[Hg],2026-10-31\n" +
			"A2,aortic-valve-mean-gradient,catheter,much,mm[Hg],2026-10-31\nA2,aortic-valve-mean-gradient,catheter,42,mmHgs,2026-10-31\nA2,aortic-valve-mean-gradient,catheter,42,mm[Hg],31.10.2026\n,aortic-valve-mean-gradient,catheter,42,mm[Hg],2026-10-31\n", 1, 1, []string{
			"3: test: not a test (hint: one of catheter, magnetic-resonance, computed-tomography, nuclear, surgery, other-echo)",
			"4: value: not a number (hint: digits with a point, such as 0.8)",
			"5: unit: not a unit (hint: UCUM, such as mm[Hg], cm2, mL or %)",
			"6: date: not a day (hint: write 2026-10-31)",
			"7: study: neither study nor accession is given (hint: one of them tells which study it is)",
		}},
		{"judged requests", lablist.Appropriateness, "accession,class\nA1,Appropriate\nA2,fine\n", 1, 1, []string{
			"3: class: not a class (hint: one of appropriate, may-be-appropriate, rarely-appropriate)",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			r := b.list(c.kind, c.text)
			var faults []string
			for _, f := range r.Faults {
				faults = append(faults, f.String())
			}
			if diff := cmp.Diff(c.faults, faults); diff != "" || r.Rows != c.rows || r.Changed != c.changed {
				t.Errorf("%d rows, %d changed\n%s", r.Rows, r.Changed, diff)
			}
			if again := b.list(c.kind, c.text); again.Rows != c.rows || again.Changed != 0 {
				t.Errorf("the second time %d rows, %d changed", again.Rows, again.Changed)
			}
			b.holds()
		})
	}
}

func TestListsReachTheStudy(t *testing.T) {
	for _, order := range []string{"lists first", "reports first"} {
		t.Run(order, func(t *testing.T) {
			b := newBench(t)
			reports := func() {
				b.take(map[string][]byte{"one.dcm": b.report("2.80", "header 0020000D = 1.2.3", "header 00080050 = ACC-1", "header 00081010 = barrow-1",
					"header 00081070 = Roe^Rita")})
			}
			lists := func() {
				b.list(lablist.Labs, "station,lab,site,timezone\nbarrow-1,main,north,Europe/Berlin\n")
				b.list(lablist.Roster, "name,role\nRoe^Rita,trainee\n")
				b.list(lablist.Signoff, "accession,ended,signed,setting\nACC-1,2026-07-01T10:00,2026-07-01T12:00+03:00,urgent\n")
				b.list(lablist.Signoff, "accession,ended,signed,setting\nACC-1,2026-07-01T10:00,2026-07-01T13:00+03:00,urgent\n")
			}
			if order == "lists first" {
				lists()
				reports()
			} else {
				reports()
				lists()
			}
			s := b.studies()[0]
			berlin := time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC)
			if !s.Times.Ended.Equal(berlin) || !s.Times.Signed.Equal(berlin.Add(2*time.Hour)) || s.Times.Setting != "urgent" || !s.Times.Zoned {
				t.Errorf("times %+v", s.Times)
			}
			if s.Lab != "main" || s.Site != "north" || s.Sonographer != b.store.key.Pseudonym("Rita Roe") || !s.Trainee {
				t.Errorf("lab %q, site %q, sonographer %q, trainee %v", s.Lab, s.Site, s.Sonographer, s.Trainee)
			}
			b.holds()
		})
	}
}

func TestPeriodAndFilter(t *testing.T) {
	b := newBench(t)
	files := map[string][]byte{}
	for date, uid := range map[string]string{"20260930": "1.1", "20261001": "1.2", "20261031": "1.3", "20261101": "1.4", "": "1.5"} {
		files[uid+".dcm"] = b.report("2.80", "header 0020000D = "+uid, "header 00080018 = 2.25."+uid[2:], "header 00080020 = "+date, "header 00081010 = barrow-"+uid[2:])
	}
	b.take(files)
	b.list(lablist.Labs, "station,lab,site,timezone\nbarrow-2,main,north,UTC\nbarrow-3,main,south,UTC\n")
	october := Period{time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 10, 31, 0, 0, 0, 0, time.UTC)}
	for _, c := range []struct {
		name   string
		period Period
		filter Filter
		want   string
	}{
		{"everything", Period{}, Filter{}, "1.5 1.1 1.2 1.3 1.4"},
		{"a month, both ends included", october, Filter{}, "1.2 1.3"},
		{"a site", october, Filter{Lab: "main", Site: "south"}, "1.3"},
		{"a station", Period{}, Filter{Station: "barrow-4"}, "1.4"},
	} {
		var got []string
		for s, err := range b.store.RebuiltStudies(context.Background(), c.period, c.filter) {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, s.UID)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: %v, want %s", c.name, got, c.want)
		}
	}
}

func TestWaivers(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80", "header 0020000D = 1.2.3")})
	give := func(w waiver.Waiver) (waiver.Waiver, error) { return b.store.Waive(ctx, w, "") }
	good := waiver.Waiver{Study: "1.2.3", Rule: "a/b", Reason: "no-signal", Role: "sonographer"}
	first, err := give(good)
	if err != nil || first.Effect != waiver.Exception || first.Late {
		t.Fatalf("%+v, %v", first, err)
	}
	for name, w := range map[string]waiver.Waiver{
		"holds for this rule": good,
		"holds no study":      {Study: "9.9", Rule: "a/b", Reason: "no-signal", Role: "sonographer"},
		"unknown reason":      {Study: "1.2.3", Rule: "a/c", Reason: "because", Role: "sonographer"},
		"unknown role":        {Study: "1.2.3", Rule: "a/c", Reason: "no-signal", Role: "Jane"},
	} {
		if _, err := give(w); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	b.list(lablist.Signoff, "study,signed\n1.2.3,2026-03-14T12:00\n")
	late, err := give(waiver.Waiver{Study: "1.2.3", Rule: "a/c", Reason: "no-time", Role: "reader"})
	if err != nil || !late.Late || late.Effect != waiver.Missing {
		t.Errorf("after sign-off: %+v, %v", late, err)
	}
	if err := b.store.Withdraw(ctx, first.Number, "reader"); err != nil {
		t.Fatal(err)
	}
	for _, number := range []int64{first.Number, 99} {
		if err := b.store.Withdraw(ctx, number, "reader"); err == nil {
			t.Errorf("waiver %d was withdrawn", number)
		}
	}
	if s := b.studies()[0]; len(s.Waivers) != 1 || s.Waivers[0] != late {
		t.Errorf("waivers that hold: %+v", s.Waivers)
	}
	if all, err := b.store.Waivers(ctx, "1.2.3"); err != nil || len(all) != 2 || !all[0].Withdrawn {
		t.Errorf("all: %+v, %v", all, err)
	}
	b.holds()
}
