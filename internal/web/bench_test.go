package web

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"echotally/internal/account"
	"echotally/internal/demo/labyear"
	"echotally/internal/desk"
	"echotally/internal/store"
)

// BenchmarkReaders has fifty readers ask for pages of a lab's year at a time: the list of
// arrivals and the sheets of its studies.
func BenchmarkReaders(b *testing.B) {
	const readers, perMonth = 50, 20
	site, server := newSite(b)
	dir := filepath.Join(b.TempDir(), "year")
	if _, err := labyear.Write(dir, labyear.Options{Seed: 1, PerMonth: perMonth}); err != nil {
		b.Fatal(err)
	}
	record := &desk.Recorder{Desk: site.Lab.Desk(), Ledger: site.Lab.Ledger, Tell: func(*store.Receipt) error { return nil }, Failed: func(uid, reason string) { b.Error(reason) }}
	if err := record.Paths(context.Background(), []string{filepath.Join(dir, "studies")}); err != nil {
		b.Fatal(err)
	}
	if err := os.RemoveAll(dir); err != nil {
		b.Fatal(err)
	}
	all, err := site.Lab.Ledger.Arrivals(context.Background(), 60)
	if err != nil {
		b.Fatal(err)
	}
	site.Unlimited()
	paths := []string{"/arrivals"}
	for _, a := range all {
		paths = append(paths, site.Lab.Study(a.UID))
	}
	cookie := site.Sessions.Begin("Quill", []account.Role{account.Reader})
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: readers}}
	for _, page := range []struct {
		name string
		path func(int) string
	}{{"arrivals", func(int) string { return paths[0] }}, {"sheet", func(n int) string { return paths[1+n%(len(paths)-1)] }}} {
		b.Run(page.name, func(b *testing.B) {
			work := make(chan int)
			var wait sync.WaitGroup
			for range readers {
				wait.Go(func() {
					for n := range work {
						r := get(b, server.URL+page.path(n))
						r.AddCookie(&http.Cookie{Name: "echotally", Value: cookie})
						answer, err := client.Do(r)
						if err != nil {
							b.Error(err)
							continue
						}
						if read(b, answer); answer.StatusCode != http.StatusOK {
							b.Errorf("%s: %d", page.path(n), answer.StatusCode)
						}
						answer.Body.Close()
					}
				})
			}
			for n := range b.N {
				work <- n
			}
			close(work)
			wait.Wait()
		})
	}
}
