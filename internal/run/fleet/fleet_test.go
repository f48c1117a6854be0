package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestMain is the daemon where a run started this program as one.
func TestMain(m *testing.M) {
	for _, a := range os.Args[1:] {
		if a == "-daemon-since" {
			main()
			return
		}
	}
	os.Exit(m.Run())
}

func TestASmallTownIsMeasuredAndItsWettingsAreTold(t *testing.T) {
	var out bytes.Buffer
	o := options{houses: 21, days: 2, winters: 2, records: 7, rounds: 4, paged: 4, nightly: 1, speed: 150,
		dir: t.TempDir()}
	err := load(t.Context(), o, &out)
	log, _ := os.ReadFile(filepath.Join(o.dir, "log"))
	require.NoError(t, err, "%s\n%s", &out, log)
	said := out.String()
	assert.Contains(t, said, fmt.Sprintf("record: %d readings stored", 21*6*2*288))
	assert.Equal(t, 8, strings.Count(said, "  round "))
	assert.Contains(t, said, "rounds: 4 rounds, 504 readings; processor ")
	assert.Contains(t, said, "rounds with pages: 4 rounds, 504 readings; processor ")
	assert.Regexp(t, `list of houses, in the begun round: answered after [0-9.]+ ms`, said)
	assert.Regexp(t, `list of houses, in the rounds with pages: answered after [0-9.]+ ms`, said)
	assert.Regexp(t, `a house's page: answered after [0-9.]+ ms`, said)
	assert.Regexp(t, `alerts: ([12]) of [12] wetted coverings told`, said)
}

func TestAHouseReportsInOrderAndLikeItsWinter(t *testing.T) {
	town, err := newTown(options{houses: 5, days: 1, winters: 1, records: 3})
	require.NoError(t, err)
	a, b := town.house(1), town.house(4)
	assert.NotEqual(t, a.id, b.id)
	assert.Equal(t, a.reading(0, 5), b.reading(0, 5), "houses share records")
	assert.NotEqual(t, a.reading(0, 5), town.house(2).reading(0, 5))
	for l := range a.loggers {
		for k := range 600 {
			assert.Equal(t, interval, a.at(l, k+1).Sub(a.at(l, k)))
		}
		assert.Less(t, a.phase(l), interval)
	}
	first := a.at(0, 288)
	assert.False(t, first.Before(nowhere), "the reading after the record is still to come: %s", first)
	file, err := town.caseFile(a)
	require.NoError(t, err)
	assert.Contains(t, string(file), strconv.Itoa(a.n))
	other, err := town.caseFile(b)
	require.NoError(t, err)
	_, offsetsA, _ := strings.Cut(string(file), "loggers:")
	_, offsetsB, _ := strings.Cut(string(other), "loggers:")
	assert.NotEqual(t, offsetsA, offsetsB, "each house has offsets of its own")
}
