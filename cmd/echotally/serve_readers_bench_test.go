package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"echotally/internal/account"
	"echotally/internal/docket"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/staff"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/waiver"
	"echotally/internal/web/frame"
	"echotally/rules"
)

// readers ask at a time, each for the next page once it has the one before.
const readers = 50

// readPage is a page that readers ask for; weight is its share of what a lab asks for.
type readPage struct {
	name   string
	weight int
	role   account.Role
	path   func(r *rand.Rand) string
}

// BenchmarkReaders has fifty readers ask the served page for what a lab asks for: the
// mix, from a cold start and warm, each page alone, and the mix while a reason is
// recorded each second. It reports how long half of the answers took and 99 of 100, and
// the processor time of an answer, of the program and of those who ask, which other work
// on the machine does not change. ECHOTALLY_BENCH names a folder with the ledger of a
// year, as BenchmarkWhatIf fills it; without, a small year is made.
func BenchmarkReaders(b *testing.B) {
	dir, studies := os.Getenv("ECHOTALLY_BENCH"), "" // as many as the folder was made with
	if dir == "" {
		dir, studies = b.TempDir(), "240"
	}
	if studies != "" {
		b.Setenv("ECHOTALLY_BENCH_STUDIES", studies)
	}
	benchLedger(b, dir)
	pages := readPages(b, dir)
	b.Run("mix-from-cold", func(b *testing.B) { newReaders(b, dir).ask(b, pages, false) })
	all := newReaders(b, dir)
	all.warm(b, pages)
	b.Run("mix", func(b *testing.B) { all.ask(b, pages, false) })
	for _, p := range pages {
		b.Run(p.name, func(b *testing.B) { all.ask(b, []readPage{p}, false) })
	}
	b.Run("mix-of-changes", func(b *testing.B) { all.ask(b, pages, true) })
}

// readPages are the pages of the ledger in a folder, in which something was drawn and
// read again, decided and attached.
func readPages(b *testing.B, dir string) []readPage {
	ledger, key := readersLedger(b, dir)
	defer ledger.Close()
	ctx := context.Background()
	lab := &frame.Lab{Key: key}
	all, err := ledger.Arrivals(ctx, 60)
	uids, _, err2 := ledger.UIDs(ctx, 0)
	draws, err3 := docket.Draws(ctx, ledger)
	if err := errors.Join(err, err2, err3); err != nil || len(draws) == 0 {
		b.Fatal(len(draws), err)
	}
	fixed := func(path string) func(*rand.Rand) string { return func(*rand.Rand) string { return path } }
	late := func(r *rand.Rand) string { return lab.Study(all[r.IntN(len(all))].UID) }
	const sonographer, reader, manager = account.Sonographer, account.Reader, account.QualityManager
	return []readPage{
		{"arrivals", 25, sonographer, fixed("/arrivals")},
		{"sheet", 30, reader, late},
		{"sheet-sonographer", 8, sonographer, late},
		{"sheet-of-the-year", 6, reader, func(r *rand.Rand) string { return lab.Study(uids[r.IntN(len(uids))]) }},
		{"sheet-named", 3, reader, func(r *rand.Rand) string { return late(r) + "?names=1" }},
		{"check", 2, sonographer, fixed("/check")},
		{"lab", 3, manager, fixed("/lab")},
		{"lab-year", 1, manager, fixed("/lab?period=2026")},
		{"lab-studies", 2, manager, fixed("/lab/studies?period=2026&measure=views-stated")},
		{"rules", 2, reader, fixed("/rules")},
		{"rules-sought", 1, sonographer, fixed("/rules?q=valve")},
		{"rule", 2, reader, fixed("/rules/right-ventricle/tapse-present")},
		{"rule-changes", 1, reader, fixed("/rules-changes")},
		{"actions", 1, sonographer, fixed("/actions")},
		{"codes", 1, manager, fixed("/codes")},
		{"readings", 2, reader, fixed("/readings")},
		{"readings-draw", 1, reader, fixed("/readings/1")},
		{"readings-case", 2, reader, fixed("/readings/1/3")},
		{"readings-results", 1, manager, fixed("/readings/results")},
		{"own", 2, sonographer, fixed("/own")},
		{"people", 1, manager, fixed("/people")},
		{"binder", 1, manager, fixed("/binder?set=iac-adult-2021")},
		{"requirement", 1, manager, fixed("/binder/iac-adult-2021/privacy")},
		{"meetings", 1, manager, fixed("/meetings")},
		{"health", 1, manager, fixed("/health")},
		{"log", 1, manager, fixed("/log")},
		{"metrics", 1, manager, fixed("/metrics")},
	}
}

// readersLedger opens the ledger, in which it records once what pages of a lab show
// beside its studies.
func readersLedger(b *testing.B, dir string) (*store.Store, *keyfile.Key) {
	ctx := context.Background()
	key, err := keyfile.Read(filepath.Join(dir, "key"))
	if err != nil {
		b.Fatal(err)
	}
	ledger, err := store.Open(ctx, filepath.Join(dir, "ledger.db"), store.Options{Key: key})
	if err != nil {
		b.Fatal(err)
	}
	if ties, err := staff.Read(ctx, ledger); err != nil || len(ties) > 0 {
		return ledger, key
	}
	kept := []string{"--store", filepath.Join(dir, "ledger.db")}
	keyed := append(slices.Clone(kept), "--key", filepath.Join(dir, "key"))
	must(b, append([]string{"review", "draw", "--year", "2026", "--quota", "12", "--by", "sonographer", "--seed", "autumn"}, keyed...)...)
	must(b, append([]string{"action", "add", "--title", "A line for views", "--cause", "forgotten", "--owner", "lead-sonographer", "--measure", "views-stated", "--started", "2026-06-01", "--due", "2027-01-01"}, kept...)...)
	must(b, append([]string{"binder", "attach", "privacy", "--set", "iac-adult-2021", "--statement", "list hangs in room 3", "--by", "quality-manager"}, kept...)...)
	lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	items, err2 := review.LoadItems(lib, rules.FS)
	draws, err3 := docket.Draws(ctx, ledger)
	if err := errors.Join(err, err2, err3); err != nil {
		b.Fatal(err)
	}
	rows := draws[0].Worksheet(items)
	for i := range rows {
		of := draws[0].Find(rows[i].Case).Reported
		if x, ok := of.Values[rows[i].Item]; ok {
			rows[i].Value = fmt.Sprint(x)
		} else {
			rows[i].Value = of.Grades[rows[i].Item]
		}
	}
	if _, err := docket.Enter(ctx, ledger, items, &draws[0], review.Entry{Reader: "p-somebody-else", From: "worksheet"}, rows, false); err != nil {
		b.Fatal(err)
	}
	people, err := ledger.Staff(ctx)
	if err != nil {
		b.Fatal(err)
	}
	names := slices.Sorted(maps.Keys(people))
	for i, one := range names[:min(len(names), accountsHeld)] {
		if err := staff.Tie(ctx, ledger, key, accountName(i), one, accountName(accountsHeld-1)); err != nil {
			b.Fatal(err)
		}
	}
	return ledger, key
}

// accountsHeld is how many accounts the readers share.
const accountsHeld = 12

func accountName(i int) string { return fmt.Sprint("Reader ", i+1) }

// atPages are readers of a program that serves.
type atPages struct {
	*atWork
	dir, base string
	client    *http.Client
	cookies   map[account.Role][]string
}

// newReaders serves the ledger of a folder and signs readers in, who come from as many
// machines as a proxy in front says.
func newReaders(b *testing.B, dir string) *atPages {
	own := b.TempDir()
	book, err := account.Open(filepath.Join(own, "accounts.json"), time.Now)
	if err != nil {
		b.Fatal(err)
	}
	roles := []account.Role{account.Sonographer, account.Reader, account.QualityManager}
	for i := range accountsHeld {
		if _, err := book.Add(accountName(i), "four plain words here", roles[i%3:i%3+1]); err != nil {
			b.Fatal(err)
		}
	}
	config := filepath.Join(own, "serve.yaml")
	text := fmt.Sprintf("spool: %[1]s/spool\ndicom: {listen: \"\"}\nweb: {listen: \"127.0.0.1:0\", proxy: true, accounts: %[1]s/accounts.json, log: %[1]s/access.log}\n", own)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	b.Setenv("ECHOTALLY_WEB_LISTEN", "127.0.0.1:0")
	p := &atPages{atWork: begin(b, "serve", "--config", config, "--store", filepath.Join(dir, "ledger.db"), "--key", filepath.Join(dir, "key")), dir: dir, cookies: map[account.Role][]string{}}
	p.base = "http://" + strings.TrimPrefix(p.listening(b, "web")["web"], "http://")
	p.client = &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: readers}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for i := range accountsHeld {
		r, err := http.NewRequest(http.MethodPost, p.base+"/sign-in", strings.NewReader(url.Values{"name": {accountName(i)}, "password": {"four plain words here"}}.Encode()))
		if err != nil {
			b.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("X-Forwarded-For", fmt.Sprint("10.1.0.", i))
		answer, err := p.client.Do(r)
		if err != nil || len(answer.Cookies()) == 0 {
			b.Fatal(answer, err)
		}
		answer.Body.Close()
		c := answer.Cookies()[0]
		p.cookies[roles[i%3]] = append(p.cookies[roles[i%3]], c.Name+"="+c.Value)
	}
	return p
}

// got asks for a page, and tells how many bytes it has and whether it is still being
// counted.
func (p *atPages) got(page readPage, r *rand.Rand) (bytes int64, counted bool, err error) {
	path := page.path(r)
	ask, err := http.NewRequest(http.MethodGet, p.base+path, nil)
	if err != nil {
		return 0, false, err
	}
	cookies := p.cookies[page.role]
	ask.Header.Set("Cookie", cookies[r.IntN(len(cookies))])
	ask.Header.Set("X-Forwarded-For", fmt.Sprintf("10.2.%d.%d", r.IntN(20), r.IntN(256))) // each may ask fifty times a second
	if page.name == "metrics" {                                                           // which are for this machine itself
		ask.Header.Set("X-Forwarded-For", fmt.Sprintf("127.2.%d.%d", r.IntN(20), r.IntN(256)))
	}
	answer, err := p.client.Do(ask)
	if err != nil {
		return 0, false, err
	}
	defer answer.Body.Close()
	bytes, err = io.Copy(io.Discard, answer.Body)
	if err == nil && answer.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s", path, answer.Status)
	}
	return bytes, answer.Header.Get("Refresh") == "", err
}

// warm asks for each page until it is counted.
func (p *atPages) warm(b *testing.B, pages []readPage) {
	for _, page := range pages {
		for range 600 {
			_, counted, err := p.got(page, rand.New(rand.NewPCG(1, 1)))
			if err != nil {
				b.Fatal(err)
			}
			if counted {
				break
			}
			time.Sleep(100 * time.Millisecond)
		}
	}
}

// ask has readers ask b.N times.
func (p *atPages) ask(b *testing.B, pages []readPage, changing bool) {
	var choose []readPage
	for _, page := range pages {
		choose = append(choose, slices.Repeat([]readPage{page}, page.weight)...)
	}
	if changing {
		defer p.changes(b)()
	}
	var next, bytes, uncounted atomic.Int64
	took := make([]time.Duration, b.N)
	cpu := p.processorTime(b) + processorTime(b)
	b.ResetTimer()
	var wait sync.WaitGroup
	for range readers {
		wait.Go(func() {
			for n := next.Add(1) - 1; n < int64(b.N); n = next.Add(1) - 1 {
				r := rand.New(rand.NewPCG(uint64(n), 7))
				page, begun := choose[r.IntN(len(choose))], time.Now()
				length, counted, err := p.got(page, r)
				if err != nil {
					b.Errorf("%v\n%.2000s", err, p.stderr.String())
					return
				}
				if took[n] = time.Since(begun); !counted {
					uncounted.Add(1)
				}
				bytes.Add(length)
			}
		})
	}
	wait.Wait()
	b.StopTimer()
	cpu = p.processorTime(b) + processorTime(b) - cpu
	slices.Sort(took)
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
	b.ReportMetric(ms(took[b.N/2]), "ms-median")
	b.ReportMetric(ms(took[b.N*99/100]), "ms-99th")
	b.ReportMetric(ms(cpu)/float64(b.N), "cpu-ms/page")
	b.ReportMetric(float64(bytes.Load())/float64(b.N)/1000, "kB/page")
	b.ReportMetric(float64(uncounted.Load()), "being-counted")
	b.ReportMetric(float64(p.memory(b))/(1<<20), "MB-resident")
}

// changes records a reason each second and withdraws it again, until done is called.
func (p *atPages) changes(b *testing.B) (done func()) {
	ledger, _ := readersLedger(b, p.dir)
	ctx, end := context.WithCancel(context.Background())
	all, err := ledger.Arrivals(ctx, 1)
	if err != nil {
		b.Fatal(err)
	}
	var wait sync.WaitGroup
	wait.Go(func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-time.After(time.Second):
			}
			w, err := ledger.Waive(context.Background(), waiver.Waiver{Study: all[0].UID, Rule: "right-ventricle/tapse-present", Reason: "no-time", Role: "sonographer"}, "")
			if err == nil {
				err = ledger.Withdraw(context.Background(), w.Number, "sonographer")
			}
			if err != nil {
				b.Error(err)
			}
		}
	})
	return func() { end(); wait.Wait(); ledger.Close() }
}

// processorTime is what the program has taken of all processors, to a hundredth of a
// second.
func (p *atPages) processorTime(b *testing.B) time.Duration {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.Process.Pid))
	if err != nil {
		b.Skip("no /proc here: processor time is not known")
	}
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
	ticks := 0
	for _, f := range fields[11:13] { // of 100 a second on every Linux
		n, err := strconv.Atoi(f)
		if err != nil {
			b.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}

// memory is what the program holds now, in bytes.
func (p *atPages) memory(b *testing.B) int64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.Process.Pid))
	if err != nil {
		b.Fatal(err)
	}
	kB, err := strconv.ParseInt(string(regexp.MustCompile(`VmRSS:\s+(\d+) kB`).FindSubmatch(text)[1]), 10, 64)
	if err != nil {
		b.Fatal(err)
	}
	return kB << 10
}
