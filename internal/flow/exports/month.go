package exports

import "strings"

// months are the words for months that loggers' programs write, by their first
// letters: English, German, French, Spanish, Italian, Portuguese, Dutch, Danish,
// Norwegian, Swedish, Polish.
var months = map[string]int{
	"jan": 1, "january": 1, "januar": 1, "janvier": 1, "janv": 1, "ene": 1, "enero": 1, "gen": 1, "gennaio": 1,
	"janeiro": 1, "januari": 1, "sty": 1, "jän": 1, "jänner": 1,
	"feb": 2, "february": 2, "februar": 2, "février": 2, "févr": 2, "fév": 2, "febrero": 2, "febbraio": 2, "fev": 2,
	"fevereiro": 2, "februari": 2, "lut": 2,
	"mar": 3, "march": 3, "mär": 3, "märz": 3, "mrz": 3, "mars": 3, "marzo": 3, "março": 3, "maart": 3, "mrt": 3,
	"marts": 3,
	"apr":   4, "april": 4, "avr": 4, "avril": 4, "abr": 4, "abril": 4, "aprile": 4, "kwi": 4,
	"may": 5, "mai": 5, "mayo": 5, "mag": 5, "maggio": 5, "maio": 5, "mei": 5, "maj": 5,
	"jun": 6, "june": 6, "juni": 6, "juin": 6, "junio": 6, "giu": 6, "giugno": 6, "junho": 6, "cze": 6,
	"jul": 7, "july": 7, "juli": 7, "juillet": 7, "juil": 7, "julio": 7, "lug": 7, "luglio": 7, "julho": 7, "lip": 7,
	"aug": 8, "august": 8, "août": 8, "aoû": 8, "ago": 8, "agosto": 8, "augustus": 8, "augusti": 8, "sie": 8,
	"sep": 9, "sept": 9, "september": 9, "septembre": 9, "septiembre": 9, "set": 9, "settembre": 9, "setembro": 9,
	"wrz": 9,
	"oct": 10, "october": 10, "okt": 10, "oktober": 10, "octobre": 10, "octubre": 10, "ott": 10, "ottobre": 10,
	"out": 10, "outubro": 10, "paź": 10,
	"nov": 11, "november": 11, "novembre": 11, "noviembre": 11, "novembro": 11, "lis": 11,
	"dec": 12, "december": 12, "dez": 12, "dezember": 12, "déc": 12, "décembre": 12, "dic": 12, "diciembre": 12,
	"dicembre": 12, "dezembro": 12, "desember": 12, "des": 12, "gru": 12,
}

// monthWord reads a month's word at the start of a cell: how many bytes it
// takes with the full stop behind it, and which month it is.
func monthWord(cell []byte) (n, month int) {
	for n < len(cell) && n < 16 && isLetter(cell[n:]) {
		n++
	}
	month, known := months[strings.ToLower(string(cell[:n]))]
	if !known {
		return 0, 0
	}
	if n < len(cell) && cell[n] == '.' {
		n++
	}
	return n, month
}
