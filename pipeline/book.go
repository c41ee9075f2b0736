package pipeline

import (
	"sync"
	"time"

	"spinledger/pipeline/store"
)

// settling is how long a file must have been left alone before its stamp stands for
// its bytes: a second change within one tick of the file system's clock leaves the
// stamp as it is. The coarsest clock still in use, FAT's, ticks every 2 s.
const settling = 2500 * time.Millisecond

// book holds the digests of inputs in one run: remembered by their stamps, or read. Each file is
// read once, whoever asks.
type book struct {
	root   *store.Root
	rehash bool
	clock  func() time.Time
	// known is made of the receipts when a file is first asked for that is not as its job left it.
	known func() map[string]seen

	mu   sync.Mutex
	page map[string]*entry
	// taken counts digests remembered, read those that were read.
	taken, read int
}

type entry struct {
	once sync.Once
	seen seen
	err  error
}

func newBook(root *store.Root, opt RunOptions, all *receipts) *book {
	known := func() map[string]seen {
		out := map[string]seen{}
		for _, r := range all.byJob {
			for _, f := range r.recs {
				// Where two jobs saw a file at different times any of the two serves: its stamp decides.
				out[f.name] = f
			}
		}
		return out
	}
	return &book{root: root, rehash: opt.Rehash, clock: opt.Now, known: sync.OnceValue(known), page: map[string]*entry{}}
}

func (b *book) entry(name string, anew bool) *entry {
	b.mu.Lock()
	defer b.mu.Unlock()
	e := b.page[name]
	if e == nil || anew {
		e = &entry{}
		b.page[name] = e
	}
	return e
}

// digest is that of a file below the root.
func (b *book) digest(name string) (store.Digest, error) {
	s, err := b.look(name, b.rehash, false)
	return s.digest, err
}

// fresh reads the file, whatever is remembered.
func (b *book) fresh(name string) (store.Digest, error) {
	s, err := b.look(name, true, true)
	return s.digest, err
}

func (b *book) look(name string, read, anew bool) (seen, error) {
	e := b.entry(name, anew)
	e.once.Do(func() {
		now := b.clock()
		stamp := b.stamp(name)
		if k, ok := b.known()[name]; ok && !read && stamp.Same(k.stamp) {
			e.seen = k
			b.count(&b.taken)
			return
		}
		b.count(&b.read)
		e.seen = seen{name: name, read: now.Unix()}
		if e.seen.digest, e.err = store.Hash(b.root, name); e.err != nil {
			return
		}
		if stamp.Same(b.stamp(name)) && stamp.CTime < now.Add(-settling).UnixNano() {
			e.seen.stamp = stamp
		}
	})
	return e.seen, e.err
}

// small is the digest of a job, bench or parts file, which is always read.
func (b *book) small(name string) (store.Digest, error) {
	e := b.entry("small:"+name, false)
	e.once.Do(func() { e.seen.digest, e.err = store.Hash(b.root, name) })
	return e.seen.digest, e.err
}

func (b *book) count(n *int) {
	b.mu.Lock()
	*n++
	b.mu.Unlock()
}

func (b *book) stamp(name string) store.Stamp { return b.root.Stamps([]string{name})[0] }
