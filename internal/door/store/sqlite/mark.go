package sqlite

import (
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
)

// mark is where the store stood after its last commit, kept in a file of its
// own beside the database: a database that ends before its mark has lost its
// tail or was replaced by an older copy. The file is not synced, so after a
// power cut the mark may lag behind, never run ahead.
type mark struct {
	store string // hex id of the store
	seq   int64
	head  string // hex
	at    int64  // Unix ms
}

func (m mark) text() []byte {
	body := fmt.Sprintf("dewcase-mark 1 %s %020d %s %020d", m.store, m.seq, m.head, m.at)
	return fmt.Appendf(nil, "%s %08x\n", body, crc32.Checksum([]byte(body), castagnoli))
}

// readMark returns the mark of a folder; ok is false without a readable one.
func readMark(dir string) (m mark, ok bool) {
	b, err := os.ReadFile(filepath.Join(dir, markName))
	if err != nil {
		return m, false
	}
	var sum uint32
	if _, err := fmt.Sscanf(string(b), "dewcase-mark 1 %s %d %s %d %x", &m.store, &m.seq, &m.head, &m.at,
		&sum); err != nil {
		return mark{}, false
	}
	return m, string(m.text()) == string(b)
}

// judge compares the mark with the database's own chain of commits and says in
// words what does not fit; "" if nothing.
func (m mark) judge(store string, c chain) string {
	switch {
	case m.store != store:
		return fileName + " is not the one that was last used in this folder"
	case m.seq > c.seq:
		return fmt.Sprintf(fileName+" ends at commit %d of %s, but commit %d of %s was already made: what came between "+
			"is lost, or the database was replaced by an older copy",
			c.seq, fromMS(c.at).Format(stamp), m.seq, fromMS(m.at).Format(stamp))
	}
	if head, ok := c.recent[m.seq]; ok && hex.EncodeToString(head) != m.head {
		return fmt.Sprintf("commit %d of %s is not the one that was made in this folder: the database was exchanged or "+
			"rewritten", m.seq, fromMS(m.at).Format(stamp))
	}
	return ""
}

const stamp = "2006-01-02 15:04:05 UTC"

// writeMark replaces a folder's mark, durably.
func writeMark(dir string, m mark) error {
	name := filepath.Join(dir, markName)
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := f.Truncate(0); err != nil {
		return err
	}
	if _, err := f.WriteAt(m.text(), 0); err != nil {
		return err
	}
	return f.Sync()
}
