package sqlite

import (
	"fmt"
	"syscall"
	"time"
)

// Space is what is left to this user on the disk of a data folder, and its size,
// in bytes.
type Space struct{ Free, Size int64 }

// SpaceOf asks for the space on a folder's disk.
func SpaceOf(dir string) (Space, error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return Space{}, fmt.Errorf("asking how full the disk of %s is: %w", dir, err)
	}
	return Space{int64(st.Bavail) * int64(st.Bsize), int64(st.Blocks) * int64(st.Bsize)}, nil
}

// Low reports whether people are to be told: a tenth of a small disk, 2 GiB of a
// large one.
func (s Space) Low() bool { return s.Free < min(s.Size/10, 2<<30) }

// scarce reports whether what was rejected is kept without its bytes, so that
// readings still find room: at half of what is low, when people have been told.
func (s Space) scarce() bool { return s.Free < min(s.Size/10, 2<<30)/2 }

// nearlyFull says whether the disk's space is scarce. It looks at most ten times
// a second: cheap, and a flood of large rejects fills little in between.
func (s *Store) nearlyFull() bool {
	now := time.Now().UnixMilli()
	if last := s.looked.Load(); now-last >= 100 && s.looked.CompareAndSwap(last, now) {
		space, err := SpaceOf(s.dir)
		if is := err == nil && space.scarce(); s.low.Swap(is) != is {
			s.opt.Log.Warn("the bytes of what is rejected are kept while there is room", "kept", !is, "free_bytes", space.Free)
		}
	}
	return s.low.Load()
}
