package report

import (
	"fmt"
	"time"

	"dewcase/internal/words"
)

// originals is the annex that names the files from which readings were taken.
func (b *builder) originals(p *part) {
	if len(b.Originals) == 0 {
		return
	}
	p.quiet("%s", words.OriginalsKept)
	t := &Table{Head: []string{"File", "Imported", "Readings", "Rows refused", "Recipe", "SHA-256"},
		Numeric: []bool{false, false, true, true}}
	for _, o := range b.Originals {
		recipe := o.Recipe
		if recipe == "" {
			recipe = "–"
		}
		t.Rows = append(t.Rows, cells(o.Name, local(o.At.Truncate(time.Minute), b.zone, dayLayout), fmt.Sprint(o.Taken),
			fmt.Sprint(o.Rejected), recipe, mono(inGroups(o.SHA256))))
	}
	p.table(t)
}

// inGroups writes a digest so that a line can break in it.
func inGroups(digest string) string {
	out := ""
	for len(digest) > 16 {
		out, digest = out+digest[:16]+" ", digest[16:]
	}
	return out + digest
}
