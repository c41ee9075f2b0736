package pipeline

import (
	"cmp"
	"io/fs"
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/reports"
)

// Inputs finds the files that a result rests on by their digests: in a working tree under
// their names, or anywhere in an archive, however it is laid out.
type Inputs struct {
	Tree     fs.FS
	Archives []fs.FS
	// byDigest is filled when it is first needed: every file of a size that somebody looks for.
	byDigest map[string]located
}

// located is a file in one of the trees.
type located struct {
	tree fs.FS
	name string
}

// look hashes the files of the sizes wanted, once each.
func (in *Inputs) look(want []provenance.Input) {
	if in.byDigest == nil {
		in.byDigest = map[string]located{}
	}
	sizes := map[int64]bool{}
	for _, w := range want {
		if _, ok := in.byDigest[w.SHA256]; ok {
			continue
		}
		if d, err := store.Hash(in.Tree, w.Name); err == nil && d.SHA256 == w.SHA256 {
			in.byDigest[w.SHA256] = located{in.Tree, w.Name}
			continue
		}
		sizes[w.Size] = true
	}
	for _, t := range in.Archives {
		if len(sizes) > 0 {
			in.search(t, sizes)
		}
	}
}

// search hashes an archive's files of the sizes wanted; what cannot be read is not found.
func (in *Inputs) search(tree fs.FS, sizes map[int64]bool) {
	_ = fs.WalkDir(tree, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return nil
		}
		if info, err := d.Info(); err != nil || !sizes[info.Size()] {
			return nil
		}
		if h, err := store.Hash(tree, p); err == nil {
			if _, ok := in.byDigest[h.SHA256]; !ok {
				in.byDigest[h.SHA256] = located{tree, p}
			}
		}
		return nil
	})
}

// chosen is a tree of named files out of others.
type chosen map[string]located

// Open implements fs.FS for the files alone.
func (c chosen) Open(name string) (fs.File, error) {
	f, ok := c[name]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return f.tree.Open(f.name)
}

// add puts files under their names; false where one is not to be found.
func (c chosen) add(in *Inputs, files []provenance.Input) bool {
	in.look(files)
	for _, f := range files {
		at, ok := in.byDigest[f.SHA256]
		if !ok {
			return false
		}
		c[f.Name] = at
	}
	return true
}

// Separate computes the moves that have several causes one change at a time: first the
// present program on the earlier inputs, then the later job files with the earlier recordings;
// what is left are the recordings. Where an input is not to be found, or the later output was not
// made by this program, the move stays not separable.
func Separate(all []reports.Moved, before []Earlier, after *ledger.Output, was, is *Inputs) {
	type pair struct{ b, m map[string]float64 }
	done := map[string]*pair{}
	for i := range all {
		m := &all[i]
		if !slices.Contains(m.Why, notSeparable) {
			continue
		}
		k, _ := slices.BinarySearchFunc(before, m.Number, func(e Earlier, id string) int { return cmp.Compare(e.Number, id) })
		now, _ := after.Find(m.Number)
		old := before[k].Result.Basis
		p, ok := done[now.Basis.Job]
		if !ok {
			p = &pair{recompute(was, old.Job, old.Files, old.Recordings, now.Basis), nil}
			if mixed, ok := underNames(old.Recordings, now.Basis.Recordings); ok && p.b != nil {
				both := &Inputs{Tree: is.Tree, Archives: slices.Concat(is.Archives, was.Archives)}
				p.m = recompute(both, now.Basis.Job, now.Basis.Files, mixed, now.Basis)
			}
			done[now.Basis.Job] = p
		}
		again, okB := p.b[m.Number]
		mixed, okM := p.m[m.Number]
		if !okB || !okM {
			continue
		}
		m.Why = slices.DeleteFunc(m.Why, func(w string) bool { return w == notSeparable })
		for _, s := range []reports.Share{
			{Cause: "program and method", Shift: again - m.Before.Value},
			{Cause: "job file", Shift: mixed - again},
			{Cause: "recording", Shift: m.After.Value - mixed},
		} {
			if named(m.Why, s.Cause) {
				m.Shares = append(m.Shares, s)
			}
		}
	}
}

// named tells whether a cause is among those listed.
func named(why []string, cause string) bool {
	return slices.ContainsFunc(why, func(w string) bool {
		kind, _, _ := strings.Cut(w, ":")
		return kind == cause || cause == "program and method" && (kind == "method version" || kind == "program")
	})
}

// underNames are the earlier recordings under the names that the later job file knows; false where
// it knows one that was not there before.
func underNames(old, now []provenance.Input) ([]provenance.Input, bool) {
	var out []provenance.Input
	for _, n := range now {
		k := slices.IndexFunc(old, func(o provenance.Input) bool { return o.Name == n.Name })
		if k < 0 {
			k = slices.IndexFunc(old, func(o provenance.Input) bool { return o.SHA256 == n.SHA256 })
		}
		if k < 0 {
			return nil, false
		}
		out = append(out, provenance.Input{Name: n.Name, SHA256: old[k].SHA256, Size: old[k].Size})
	}
	return out, true
}

// recompute gives the values of a job's numbers from files and recordings; nil where they are
// not all there, cannot be computed, or would be computed by other methods than want says.
func recompute(in *Inputs, id string, files, recordings []provenance.Input, want ledger.Basis) map[string]float64 {
	tree := chosen{}
	if !tree.add(in, recordings) || !tree.add(in, files) {
		return nil
	}
	for _, f := range files {
		j, err := job.Read(tree, f.Name)
		if err != nil || j.ID != id {
			continue
		}
		found, log, err := Compute(tree, Plan(j), 1, nil)
		if err != nil || !slices.Equal(ledger.BasisOf(log, id).Methods, want.Methods) {
			return nil
		}
		out := map[string]float64{}
		for _, n := range found.Numbers {
			out[n.ID] = n.Value.Mean
		}
		return out
	}
	return nil
}
