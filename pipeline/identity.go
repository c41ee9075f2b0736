package pipeline

import (
	"runtime/debug"

	"spinledger/pipeline/store"
)

// identity says which program runs.
type identity struct {
	// digest of the program's own file; empty where it cannot be read: nothing is then remembered.
	digest store.Digest
	stamp  store.Stamp
	// build is what the Go tools stamped it with: a released version, or one made of the commit.
	build string
	// clean is true where it was built from a committed or released state. Two such
	// programs differ in numbers only where a method's version says so; of a build from a
	// tree in work nobody can tell.
	clean bool
}

// identify reads the program's file unless the receipts know it by its stamp.
func identify(had *receipts) identity {
	var id identity
	var known seen
	if c := had.catalogue; c != nil && len(c.recs) == 1 {
		known = c.recs[0]
	}
	d, stamp, err := store.Program(known.digest, known.stamp)
	if err != nil {
		return id
	}
	id.digest, id.stamp = d, stamp
	if info, ok := debug.ReadBuildInfo(); ok {
		id.build = info.Main.Version
		id.clean = id.build != "" && id.build != "(devel)"
		for _, s := range info.Settings {
			if s.Key == "vcs.modified" && s.Value == "true" {
				id.clean = false
			}
		}
	}
	return id
}

// trusts is true where the log of a job was written by this program, or by one
// whose methods' versions can be believed.
func (id identity) trusts(r *receipt) bool {
	return id.digest.SHA256 != "" && (r.program == id.digest.SHA256 || id.clean && r.clean)
}
