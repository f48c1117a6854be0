package roof

import "time"

// Original is a file as it was imported, before anything was read from it: by
// its digest a report can name it.
type Original struct {
	Case       string    `json:"case"`
	Name       string    `json:"name"`
	SHA256     string    `json:"sha256"` // hexadecimal
	Bytes      int64     `json:"bytes"`
	At         time.Time `json:"at"` // when it was imported
	By         string    `json:"by,omitempty"`
	Recipe     string    `json:"recipe,omitempty"` // "" where none was used or kept
	Taken      int       `json:"taken"`            // readings, those that were there already among them
	Rejected   int       `json:"rejected"`         // rows
	BytesThere bool      `json:"-"`                // the file itself is still kept
}
