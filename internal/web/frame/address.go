package frame

import (
	"context"
	"sync"
)

// addresses are the studies by what stands for them in addresses of pages: a keyed
// hash of the UID, which tells nothing of it.
type addresses struct {
	lock  sync.Mutex
	uids  map[string]string
	after int64
}

// Token is what stands for a study in an address.
func (l *Lab) Token(uid string) string { return l.Key.Opaque("study\x00" + uid) }

// Study is the address of the page of a study.
func (l *Lab) Study(uid string) string { return "/study/" + l.Token(uid) }

// UID is the study of a token; ErrNotFound for one that stands for none.
func (l *Lab) UID(ctx context.Context, token string) (string, error) {
	a := &l.addresses
	a.lock.Lock()
	defer a.lock.Unlock()
	if uid, ok := a.uids[token]; ok {
		return uid, nil
	}
	uids, last, err := l.Ledger.UIDs(ctx, a.after)
	if err != nil {
		return "", err
	}
	if a.uids == nil {
		a.uids = map[string]string{}
	}
	for _, uid := range uids {
		a.uids[l.Token(uid)] = uid
	}
	a.after = last
	if uid, ok := a.uids[token]; ok {
		return uid, nil
	}
	return "", ErrNotFound
}
