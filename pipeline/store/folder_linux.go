package store

import (
	"os"

	"golang.org/x/sys/unix"
)

// folder is an open folder in which the stamps of many files are asked for.
type folder struct {
	dir *os.File
	fd  int
}

func openFolder(root *os.Root, name string) (folder, error) {
	dir, err := root.Open(name)
	if err != nil {
		return folder{}, err
	}
	return folder{dir, int(dir.Fd())}, nil
}

// stamp is that of a regular file; link is true for a symbolic link.
func (f folder) stamp(name string) (s Stamp, link bool) {
	var st unix.Stat_t
	for {
		err := unix.Fstatat(f.fd, name, &st, unix.AT_SYMLINK_NOFOLLOW)
		if err == unix.EINTR {
			continue
		}
		if err != nil {
			return Stamp{}, false
		}
		break
	}
	switch st.Mode & unix.S_IFMT {
	case unix.S_IFREG:
		return Stamp{Size: st.Size, MTime: st.Mtim.Nano(), CTime: st.Ctim.Nano(), Inode: st.Ino}, false
	case unix.S_IFLNK:
		return Stamp{}, true
	}
	return Stamp{}, false
}

func (f folder) close() { f.dir.Close() }
