package frame

import (
	"container/list"
	"html/template"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"

	"echotally/internal/packed"
)

// kept are pages as they were rendered, without what the layout shows around them. Each
// is for all who are shown the same. Those asked for last are ready, those before them
// squeezed, and those before these are forgotten.
type kept struct {
	making          singleflight.Group
	lock            sync.Mutex
	pages           map[string]*list.Element
	ready, squeezed room
}

// room holds pages, the one asked for last at the front.
type room struct {
	list.List
	bytes int
}

// mostReady and mostSqueezed bound what pages take, in bytes: some hundred gap sheets are
// ready, and those of a lab's year fit in beside them.
const (
	mostReady    = 32 << 20
	mostSqueezed = 32 << 20
)

// keptPage is a page by what it is made of. It is changed by nobody: another takes its
// place.
type keptPage struct {
	key    string
	view   View      // rendered, nil data
	about  string    // what the access log names
	until  time.Time // on the wall clock, zero for as long as it is made of the same
	own    bool      // it has something for one person alone: nothing is kept under this key
	packed []byte    // what stands in the view
	in     *room
}

// size is what a page takes, in bytes, with what the room takes for it.
func (p *keptPage) size() int { return len(p.key) + len(p.view.main) + len(p.packed) + 512 }

// find gives the page of a key, nil for none.
func (k *kept) find(key string) *keptPage {
	k.lock.Lock()
	defer k.lock.Unlock()
	e := k.pages[key]
	if e == nil {
		return nil
	}
	p := e.Value.(*keptPage)
	if !p.until.IsZero() && !time.Now().Before(p.until) {
		k.drop(e)
		return nil
	}
	if p.in == &k.ready {
		k.ready.MoveToFront(e)
		return p
	}
	k.lock.Unlock() // what takes a while keeps nobody waiting
	main, err := packed.Loosen(p.packed)
	k.lock.Lock()
	if err != nil {
		return nil // it is made anew
	}
	again := *p
	again.view.main = template.HTML(main) // as it was
	k.put(&again, &k.ready)
	return &again
}

// keep takes a page in.
func (k *kept) keep(p *keptPage) {
	p.packed = packed.Squeeze([]byte(p.view.main))
	k.lock.Lock()
	defer k.lock.Unlock()
	k.put(p, &k.ready)
}

// put brings a page into a room and makes there the room that it takes.
func (k *kept) put(p *keptPage, in *room) {
	if e := k.pages[p.key]; e != nil {
		k.drop(e)
	}
	if k.pages == nil {
		k.pages = map[string]*list.Element{}
	}
	p.in = in
	k.pages[p.key] = in.PushFront(p)
	in.bytes += p.size()
	for k.ready.bytes > mostReady {
		less := *k.ready.Back().Value.(*keptPage)
		less.view.main = ""
		k.put(&less, &k.squeezed)
	}
	for k.squeezed.bytes > mostSqueezed {
		k.drop(k.squeezed.Back())
	}
}

func (k *kept) drop(e *list.Element) {
	p := e.Value.(*keptPage)
	p.in.Remove(e)
	p.in.bytes -= p.size()
	delete(k.pages, p.key)
}
