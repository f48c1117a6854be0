package roof

import (
	"sync"
	"time"
)

var zones sync.Map // *time.Location by name

// ZoneOf returns the time zone of an IANA name, the same one each time: thousands of
// houses lie in one, and each zone takes some kilobytes.
func ZoneOf(name string) (*time.Location, error) {
	if z, ok := zones.Load(name); ok {
		return z.(*time.Location), nil
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		return nil, err
	}
	kept, _ := zones.LoadOrStore(name, z)
	return kept.(*time.Location), nil
}
