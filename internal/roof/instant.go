package roof

import (
	"errors"
	"time"
)

// ErrNotRFC3339 is returned for a time that is not a full RFC 3339 date-time.
var ErrNotRFC3339 = errors.New("not an RFC 3339 time such as 2026-11-25T06:10:00Z or 2026-11-25T07:10:00+01:00")

// ParseTime reads an RFC 3339 section 5.6 date-time with its offset, strictly
// (time.Parse also takes one-digit hours and a comma before the fraction), in
// UTC. Lower-case t and z are allowed, as there; a space between date and time,
// a leap second and a missing offset are not.
func ParseTime[T string | []byte](s T) (time.Time, error) {
	n := len(s)
	if n < len("2006-01-02T15:04:05Z") || s[4] != '-' || s[7] != '-' || s[10]|0x20 != 't' || s[13] != ':' || s[16] != ':' {
		return time.Time{}, ErrNotRFC3339
	}
	year, ok1 := twoDigits(s[0], s[1])
	yy, ok2 := twoDigits(s[2], s[3])
	month, ok3 := twoDigits(s[5], s[6])
	day, ok4 := twoDigits(s[8], s[9])
	hour, ok5 := twoDigits(s[11], s[12])
	minute, ok6 := twoDigits(s[14], s[15])
	second, ok7 := twoDigits(s[17], s[18])
	year = year*100 + yy
	if !(ok1 && ok2 && ok3 && ok4 && ok5 && ok6 && ok7) || month < 1 || month > 12 || day < 1 ||
		day > DaysIn(year, month) || hour > 23 || minute > 59 || second > 59 {
		return time.Time{}, ErrNotRFC3339
	}
	i, nanos := 19, 0
	if s[i] == '.' {
		start, scale := i+1, 100_000_000
		for i++; i < n && s[i] >= '0' && s[i] <= '9'; i++ {
			nanos += int(s[i]-'0') * scale // digits past the ninth count nothing
			scale /= 10
		}
		if i == start {
			return time.Time{}, ErrNotRFC3339
		}
	}
	offset := 0
	switch {
	case i == n-1 && s[i]|0x20 == 'z':
	case i == n-6 && (s[i] == '+' || s[i] == '-') && s[i+3] == ':':
		oh, ok1 := twoDigits(s[i+1], s[i+2])
		om, ok2 := twoDigits(s[i+4], s[i+5])
		if !ok1 || !ok2 || oh > 23 || om > 59 {
			return time.Time{}, ErrNotRFC3339
		}
		if offset = oh*3600 + om*60; s[i] == '-' {
			offset = -offset
		}
	default:
		return time.Time{}, ErrNotRFC3339
	}
	return time.Date(year, time.Month(month), day, hour, minute, second-offset, nanos, time.UTC), nil
}

func twoDigits(a, b byte) (int, bool) {
	a, b = a-'0', b-'0'
	return int(a)*10 + int(b), a <= 9 && b <= 9
}

// DaysIn is the number of days of a month, 1 to 12, of the Gregorian calendar.
func DaysIn(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// ValidID reports whether s can name a logger or a position: 1 to 64 of
// A-Z a-z 0-9 . _ - (contract, section 1).
func ValidID(s string) bool {
	if len(s) == 0 || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '.' || c == '_' || c == '-') {
			return false
		}
	}
	return true
}

// ValidCaseID reports whether s can name a case: 1 to 64 of a-z 0-9 -
// (contract, section 1).
func ValidCaseID(s string) bool {
	if len(s) == 0 || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-') {
			return false
		}
	}
	return true
}
