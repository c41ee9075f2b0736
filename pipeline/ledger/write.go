package ledger

import (
	"bytes"
	"io/fs"

	"spinledger/pipeline/store"
)

// Append adds lines to the ledger below root and keeps what they release. The kept
// files come first, so that no line ever names what is not there; each file appears
// whole or not at all, and the lines that stand stay byte for byte.
func (l *Ledger) Append(root *store.Root, disk store.Disk, add []Addition) error {
	if len(add) == 0 {
		return nil
	}
	data, err := l.extended(add)
	if err != nil {
		return err
	}
	for _, a := range add {
		if a.KeptName == "" {
			continue
		}
		if old, err := fs.ReadFile(root, a.KeptName); err == nil && bytes.Equal(old, a.Kept) {
			continue
		}
		if err := store.Extend(root.Path(a.KeptName), a.KeptName, disk, nil, a.Kept); err != nil {
			return err
		}
	}
	if err := store.Extend(root.Path(l.Name), l.Name, disk, l.data, data); err != nil {
		return err
	}
	again, err := Read(root, l.Name)
	if err != nil {
		return err
	}
	*l = *again
	return nil
}
