package exports

// clockNames are the names of clocks that stand for one offset only, in hours; others
// (CST, IST, BST) are used in several parts of the world.
var clockNames = map[string]int{"CET": 1, "CEST": 2, "MEZ": 1, "MESZ": 2, "WET": 0, "WEST": 1, "EET": 2, "EEST": 3,
	"EST": -5, "EDT": -4, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7}

// offsetOf reads Z, UTC, GMT, or an offset with or without one of these before
// it: +01:00, UTC+1, GMT-0500.
func offsetOf(text string) (seconds int, ok bool) {
	s := text
	if hours, ok := clockNames[s]; ok {
		return hours * 3600, true
	}
	for _, word := range []string{"UTC", "GMT", "utc", "gmt"} {
		if len(s) >= 3 && s[:3] == word {
			s = s[3:]
			if s == "" {
				return 0, true
			}
			break
		}
	}
	if s == "Z" || s == "z" {
		return 0, true
	}
	if len(s) > 1 && s[0] == ' ' {
		s = s[1:]
	}
	sign := 1
	switch {
	case len(s) > 3 && s[:3] == "\u2212":
		sign, s = -1, s[3:]
	case len(s) > 1 && s[0] == '-':
		sign, s = -1, s[1:]
	case len(s) > 1 && s[0] == '+':
		s = s[1:]
	default:
		return 0, false
	}
	h, m := 0, 0
	digits := func(s string) bool {
		for i := range len(s) {
			if s[i] < '0' || s[i] > '9' {
				return false
			}
		}
		return s != ""
	}
	switch {
	case len(s) <= 2 && digits(s):
		h = atoi([]byte(s))
	case len(s) == 4 && digits(s):
		h, m = atoi([]byte(s[:2])), atoi([]byte(s[2:]))
	case (len(s) == 5 || len(s) == 4) && s[len(s)-3] == ':' && digits(s[:len(s)-3]) && digits(s[len(s)-2:]):
		h, m = atoi([]byte(s[:len(s)-3])), atoi([]byte(s[len(s)-2:]))
	default:
		return 0, false
	}
	if h > 14 || m > 59 {
		return 0, false
	}
	return sign * (h*3600 + m*60), true
}
