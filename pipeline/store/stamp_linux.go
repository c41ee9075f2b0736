package store

import (
	"io/fs"
	"syscall"
)

func system(info fs.FileInfo) Stamp {
	s, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return Stamp{}
	}
	return Stamp{Size: s.Size, MTime: s.Mtim.Nano(), CTime: s.Ctim.Nano(), Inode: s.Ino}
}
