package exports

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"dewcase/internal/roof"
)

// namer gives readings their logger: what a person said of a name, a logger of
// the case file, else the name itself, written as an id.
type namer struct {
	said    map[string]string // by lower-case name
	ids     map[string]string // of the case file, by lower-case id
	logger  string            // of a file that names none; "" not known
	from    string            // the name that gave it
	bySheet bool              // a name of the sheet would do before what was said for any file
	cache   map[string]string
	heard   []Named
	heardAs map[string]bool
}

// maxNames bounds the memory that distinct names cost.
const maxNames = 10_000

func newNamer(text Text, a Answers, h House, l *layout) *namer {
	n := &namer{said: map[string]string{}, ids: map[string]string{}, cache: map[string]string{},
		heardAs: map[string]bool{}}
	for name, id := range a.Loggers {
		n.said[strings.ToLower(name)] = id
	}
	for _, id := range h.Loggers {
		n.ids[strings.ToLower(id)] = id
	}
	stem := Stem(text.Name)
	n.from, n.bySheet = stem, l.logger == "" && sheetNames(text.Sheet)
	switch {
	case text.OfSheets && n.bySheet:
		n.logger, n.from = n.idOf(text.Sheet), text.Sheet
	case a.Logger != "":
		n.logger, n.from = a.Logger, a.Logger
	case l.logger != "":
		n.from = l.logger
		n.logger = n.idOf(l.logger)
	case n.said[strings.ToLower(stem)] != "":
		n.logger = n.said[strings.ToLower(stem)]
	case text.Sheet != "" && n.ids[strings.ToLower(slug(text.Sheet))] != "":
		n.logger, n.from = n.ids[strings.ToLower(slug(text.Sheet))], text.Sheet
	case n.ids[strings.ToLower(slug(stem))] != "":
		n.logger = n.ids[strings.ToLower(slug(stem))]
	}
	return n
}

// numberedSheet is what spreadsheets call a sheet that nobody named.
var numberedSheet = regexp.MustCompile(`(?i)^(sheet|tabelle|blatt|feuil|feuille|hoja|foglio|planilha|blad|ark|taul|arkusz|list|лист|data|daten|export)[ _]?\d*$`)

// sheetNames reports whether somebody named a sheet.
func sheetNames(sheet string) bool { return slug(sheet) != "" && !numberedSheet.MatchString(sheet) }

// id is the logger of a name in the file; ok is false where the file names none
// and nothing says which it is.
func (n *namer) id(name string) (id string, ok bool) {
	if name == "" {
		n.hear(n.from, n.logger)
		return n.logger, n.logger != ""
	}
	if id, known := n.cache[name]; known {
		return id, id != ""
	}
	id = n.idOf(name)
	if len(n.cache) < maxNames {
		n.cache[strings.Clone(name)] = id
		n.hear(name, id)
	}
	return id, id != ""
}

func (n *namer) hear(name, id string) {
	if id == "" || n.heardAs[name] {
		return
	}
	name = strings.Clone(name)
	n.heardAs[name] = true
	n.heard = append(n.heard, Named{Name: name, ID: id, Known: n.ids[strings.ToLower(id)] != ""})
}

func (n *namer) idOf(name string) string {
	lower := strings.ToLower(name)
	if id := n.said[lower]; id != "" {
		return id
	}
	if id := n.ids[lower]; id != "" {
		return id
	}
	s := slug(name)
	if id := n.ids[strings.ToLower(s)]; id != "" {
		return id
	}
	return s
}

// slug writes a name as an id: what an id cannot hold becomes a hyphen. It is
// empty where nothing is left.
func slug(name string) string {
	if roof.ValidID(name) {
		return strings.Clone(name)
	}
	var b strings.Builder
	hyphen := false
	for _, r := range norm.NFD.String(plainLetters.Replace(name)) {
		if unicode.Is(unicode.Mn, r) {
			continue // the accent of the letter before
		}
		if r < 0x80 && roof.ValidID(string(r)) {
			if hyphen && b.Len() > 0 {
				b.WriteByte('-')
			}
			hyphen = false
			b.WriteRune(r)
			continue
		}
		hyphen = true
	}
	return strings.Trim(b.String()[:min(b.Len(), 64)], "-")
}

// plainLetters are letters that have no accent to lose.
var plainLetters = strings.NewReplacer("ß", "ss", "ø", "o", "Ø", "O", "ł", "l", "Ł", "L", "æ", "ae", "Æ", "Ae", "đ",
	"d", "œ", "oe")

// dated is what a file's name carries beside its logger: a date, a number that a
// browser adds, the word export.
var dated = regexp.MustCompile(`(?i)[ _.-]*(\(\d+\)|20\d\d([-_.]?(0[1-9]|1[0-2])([-_.]?[0-3]\d)?)?|export|copy|kopie)$`)

// Stem is a file's name without folder, ending and date, by which the logger of
// a file that names none is known again.
func Stem(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	if dot := strings.LastIndexByte(name, '.'); dot > 0 {
		name = name[:dot]
	}
	for {
		shorter := dated.ReplaceAllString(name, "")
		if shorter == "" || shorter == name {
			return name
		}
		name = shorter
	}
}

// names lists what was heard, by name.
func (n *namer) names() []Named {
	return slices.SortedFunc(slices.Values(n.heard), func(a, b Named) int { return strings.Compare(a.Name, b.Name) })
}
