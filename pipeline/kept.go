package pipeline

import (
	"bytes"
	"io"
	"maps"
	"slices"
	"sync"

	"spinledger/pipeline/store"
)

// writer is where files of results go.
type writer interface {
	Write(name string, fill func(io.Writer) error) (store.Digest, error)
}

// kept writes files of an output folder and leaves alone what stands there
// already. Names are below the output folder.
type kept struct {
	out    *store.Output
	rehash bool
	// had is what an earlier run of this program wrote.
	had map[string]seen

	mu  sync.Mutex
	now map[string]seen
}

func newKept(out *store.Output, rehash bool, old *receipt) *kept {
	k := &kept{out: out, rehash: rehash, had: map[string]seen{}, now: map[string]seen{}}
	if old != nil {
		for _, s := range old.outs {
			k.had[s.name] = s
		}
	}
	return k
}

// stands is true where the file is there with this digest.
func (k *kept) stands(name string, d store.Digest) bool {
	old, ok := k.had[name]
	if !ok {
		return false
	}
	now, ok := k.check(old, d, k.out.Stamp(name))
	if ok {
		k.note(now)
	}
	return ok
}

// check looks whether a file that was written, and has this stamp now, has this digest still: by the
// stamp, or read.
func (k *kept) check(old seen, d store.Digest, stamp store.Stamp) (seen, bool) {
	if old.digest != d {
		return seen{}, false
	}
	if k.rehash || !stamp.Same(old.stamp) {
		if got, err := k.out.Hash(old.name); err != nil || got != d {
			return seen{}, false
		}
	}
	return seen{name: old.name, digest: d, stamp: stamp}, true
}

func (k *kept) note(s seen) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.now[s.name] = s
}

// Write writes a file whose bytes fit into memory, unless it stands.
func (k *kept) Write(name string, fill func(io.Writer) error) (store.Digest, error) {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return store.Digest{}, err
	}
	d := store.DigestOf(b.Bytes())
	if k.stands(name, d) {
		return d, nil
	}
	return k.Stream(name, func(w io.Writer) error {
		_, err := w.Write(b.Bytes())
		return err
	})
}

// Stream writes a file as it is made.
func (k *kept) Stream(name string, fill func(io.Writer) error) (store.Digest, error) {
	d, err := k.out.Write(name, fill)
	if err == nil {
		k.note(seen{name: name, digest: d, stamp: k.out.Stamp(name)})
	}
	return d, err
}

// files are those written or left standing, by name.
func (k *kept) files() []seen {
	k.mu.Lock()
	defer k.mu.Unlock()
	out := make([]seen, 0, len(k.now))
	for _, name := range slices.Sorted(maps.Keys(k.now)) {
		out = append(out, k.now[name])
	}
	return out
}
