package parcel_test

import (
	"archive/zip"
	"bytes"
	"io"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/parcel"
)

func sealed(t testing.TB, archive []byte) ([]byte, parcel.Seal) {
	var b bytes.Buffer
	s, err := parcel.SealOf(&b, bytes.NewReader(archive), int64(len(archive)), "1.0", "method")
	require.NoError(t, err)
	return b.Bytes(), s
}

func opened(archive []byte) (parcel.Seal, []string, error) {
	return parcel.Unsealed(bytes.NewReader(archive), int64(len(archive)))
}

func TestASealedHouseAgreesAndIsStillAHouse(t *testing.T) {
	file, s := sealed(t, pack(t, drawn(rand.New(rand.NewPCG(1, 1)))))
	got, faults, err := opened(file)
	require.NoError(t, err)
	assert.Empty(t, faults)
	assert.Equal(t, s, got)
	assert.Len(t, s.Head, 64)
	p, err := parcel.Open(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	assert.Equal(t, "larch-3", p.Case)
}

// Whatever byte is changed, also between the files, somebody is told.
func TestEveryByteOfASealedHouseIsCovered(t *testing.T) {
	file, _ := sealed(t, pack(t, drawn(rand.New(rand.NewPCG(2, 1)))))
	for i := range file {
		changed := bytes.Clone(file)
		changed[i] ^= 1 << (i % 8)
		if _, faults, err := opened(changed); err == nil {
			assert.NotEmpty(t, faults, "byte %d of %d", i, len(file))
		}
	}
	for name, changed := range map[string][]byte{"cut": file[:len(file)-1], "more": append(bytes.Clone(file), 0),
		"before": append([]byte{0}, file...)} {
		if _, faults, err := opened(changed); err == nil {
			assert.NotEmpty(t, faults, name)
		}
	}
}

func TestWhatWasDoneToASealedHouseIsNamed(t *testing.T) {
	file, s := sealed(t, pack(t, drawn(rand.New(rand.NewPCG(3, 1)))))
	for _, c := range []struct {
		name string
		do   func(names []string, content map[string][]byte) []string
		want string
	}{
		{"a file altered", func(names []string, content map[string][]byte) []string {
			content["readings.csv"] = append(content["readings.csv"], "k1,2026-11-30T08:00:00Z\n"...)
			return names
		}, "readings.csv: holds other bytes than were sealed"},
		{"a file taken out", func(names []string, _ map[string][]byte) []string {
			return slices.DeleteFunc(names, func(n string) bool { return n == "rejects.jsonl" })
		}, "rejects.jsonl: is missing"},
		{"a file added", func(names []string, content map[string][]byte) []string {
			content["note.txt"] = []byte("well")
			return append(names, "note.txt")
		}, "note.txt: was added after the sealing"},
		{"files in another order", func(names []string, _ map[string][]byte) []string {
			slices.Reverse(names)
			return names
		}, "the archive around its files is not as it was written"},
	} {
		t.Run(c.name, func(t *testing.T) {
			names, content := unzipped(t, file)
			_, faults, err := opened(zipped(t, c.do(names, content), content))
			require.NoError(t, err)
			assert.Contains(t, faults[0], c.want)
		})
	}

	names, content := unzipped(t, file)
	content["readings.csv"] = append(content["readings.csv"], "k1,2026-11-30T08:00:00Z\n"...)
	names = slices.DeleteFunc(names, func(n string) bool { return n == "seal.json" })
	forged, other := sealed(t, zipped(t, names, content))
	_, faults, err := opened(forged)
	require.NoError(t, err)
	assert.Empty(t, faults, "sealed anew, it agrees with itself")
	assert.NotEqual(t, s.Head, other.Head, "and not with the head that was kept apart")
}

func unzipped(t testing.TB, file []byte) (names []string, content map[string][]byte) {
	z, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	content = map[string][]byte{}
	for _, f := range z.File {
		in, err := f.Open()
		require.NoError(t, err)
		content[f.Name], err = io.ReadAll(in)
		require.NoError(t, err)
		names = append(names, f.Name)
	}
	return names, content
}

func zipped(t testing.TB, names []string, content map[string][]byte) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, n := range names {
		f, err := w.CreateHeader(&zip.FileHeader{Name: n, Method: zip.Deflate})
		require.NoError(t, err)
		_, err = f.Write(content[n])
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}
