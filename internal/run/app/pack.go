package app

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/filing"
	"dewcase/internal/door/parcel"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
)

// answerFile and caseFile are what a pack holds beside the house: its assessment as
// the API gives it, and the case file that it rests on.
const (
	answerFile = "assessment.json"
	caseFile   = "case.yaml"
)

// PackHouse writes what is kept of one house's evidence into a sealed archive:
// every version of its case file, readings with arrival and flags, those kept
// aside, rejects, originals of imported files, and the assessment. Links, letters
// and alerts are the household's and left out. The data folder may be in use.
func PackHouse(ctx context.Context, dir, id, version string, to io.Writer) (seal parcel.Seal, err error) {
	store, _, end, err := sqlite.Reading(ctx, dir)
	if err != nil {
		return seal, err
	}
	defer func() { err = errors.Join(err, end()) }()
	draft, err := os.CreateTemp("", "dewcase-pack-*")
	if err != nil {
		return seal, fmt.Errorf("packing %s: %w", id, err)
	}
	defer draft.Close()
	if err := os.Remove(draft.Name()); err != nil {
		return seal, fmt.Errorf("packing %s: %w", id, err)
	}
	m := &mover{store: store, readings: store, cabinet: filing.New(dir, store, time.Now)}
	w := parcel.NewWriter(draft)
	c, err := m.packEvidence(ctx, id, w)
	if errors.Is(err, roof.ErrNotFound) {
		return seal, fmt.Errorf("there is no case %s in %s: %w", id, dir, err)
	} else if err != nil {
		return seal, err
	}
	file, _, _, err := store.Case(ctx, id)
	if err != nil {
		return seal, err
	}
	answer, err := answerOf(ctx, store, c)
	if err != nil {
		return seal, err
	}
	if err := errors.Join(w.Add(caseFile, file), w.Add(answerFile, answer)); err != nil {
		return seal, err
	}
	if err := w.Close(parcel.About{Case: id, Label: nameOf(c), Version: version, At: time.Now().UTC()}); err != nil {
		return seal, err
	}
	size, err := draft.Seek(0, io.SeekEnd)
	if err != nil {
		return seal, fmt.Errorf("packing %s: %w", id, err)
	}
	return parcel.SealOf(to, draft, size, version, methodName())
}

// methodName is the method of assessments as a seal names it.
func methodName() string { return hex.EncodeToString([]byte(answerMethod())) }

// answerOf is the assessment of a house's whole record as the API gives it.
func answerOf(ctx context.Context, store roof.ReadingStore, c *roof.Case) ([]byte, error) {
	set, err := record.New(store).Whole(ctx, c, SideBySide)
	if err != nil {
		return nil, fmt.Errorf("assessing %s: %w", c.ID, err)
	}
	a, ahead := assessment.Whole(SideBySide, set)
	a.Take(ahead)
	text, err := json.MarshalIndent(a.Assessment, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("writing the assessment of %s: %w", c.ID, err)
	}
	return append(text, '\n'), nil
}

// VerifyPack compares every byte of a packed house with its seal, works its
// assessment out anew from its readings and its case file, and names whatever
// does not agree.
func VerifyPack(ctx context.Context, in io.ReaderAt, size int64) (seal parcel.Seal, faults []string, err error) {
	seal, faults, err = parcel.Unsealed(in, size)
	if err != nil {
		return seal, nil, err
	}
	p, err := parcel.Open(in, size)
	if err != nil {
		return seal, append(faults, err.Error()), nil
	}
	more, err := recomputed(ctx, p, seal)
	if err != nil {
		if ctx.Err() != nil {
			return seal, nil, err
		}
		more = append(more, "the assessment cannot be worked out anew: "+err.Error())
	}
	return seal, append(faults, more...), nil
}

// recomputed names the figures of the packed assessment that the packed readings
// do not give.
func recomputed(ctx context.Context, p *parcel.Parcel, seal parcel.Seal) (faults []string, err error) {
	versions, err := p.Versions()
	if err != nil {
		return nil, err
	}
	c, err := lastCase(p.Case, versions)
	if err != nil {
		return nil, err
	}
	file, err := p.Read(caseFile)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(file, versions[len(versions)-1].File) {
		faults = append(faults, caseFile+": is not the last version of versions.jsonl")
	}
	dir, err := os.MkdirTemp("", "dewcase-verify-*")
	if err != nil {
		return faults, fmt.Errorf("making room for the readings: %w", err)
	}
	defer os.RemoveAll(dir)
	store, err := sqlite.Open(ctx, dir, sqlite.Options{})
	if err != nil {
		return faults, err
	}
	defer store.Close()
	for batch, err := range batches(p.Readings()) {
		if err == nil {
			_, err = store.Append(ctx, p.Case, batch)
		}
		if err != nil {
			return faults, err
		}
	}
	now, err := answerOf(ctx, store, c)
	if err != nil {
		return faults, err
	}
	was, err := p.Read(answerFile)
	if err != nil {
		return faults, err
	}
	differs, err := differences(was, now)
	if err != nil {
		return faults, err
	}
	if len(differs) > 0 && seal.Method != methodName() {
		faults = append(faults, fmt.Sprintf("%s: its figures are of version %s, which works them out by another method than "+
			"this one; verify it with that version", answerFile, seal.Version))
	}
	return append(faults, differs...), nil
}

// batches gathers readings for a store.
func batches(all func(func(roof.Reading, error) bool)) func(func([]roof.Reading, error) bool) {
	return func(yield func([]roof.Reading, error) bool) {
		var batch []roof.Reading
		for r, err := range all {
			if err != nil {
				yield(nil, err)
				return
			}
			if batch = append(batch, r); len(batch) == takeAtOnce {
				if !yield(batch, nil) {
					return
				}
				batch = batch[:0]
			}
		}
		if len(batch) > 0 {
			yield(batch, nil)
		}
	}
}

// differences names the entries in which two documents differ.
func differences(was, now []byte) (out []string, err error) {
	var a, b any
	if err := errors.Join(json.Unmarshal(was, &a), json.Unmarshal(now, &b)); err != nil {
		return nil, fmt.Errorf("%s: %w", answerFile, err)
	}
	differ(answerFile+":", a, b, func(line string) { out = append(out, line) })
	if len(out) == 0 && !bytes.Equal(was, now) {
		out = append(out, answerFile+": is not written as the program writes it")
	}
	return out, nil
}

func differ(at string, a, b any, tell func(string)) {
	switch x := a.(type) {
	case map[string]any:
		if y, ok := b.(map[string]any); ok {
			for _, k := range keysOf(x, y) {
				differ(at+" "+k, x[k], y[k], tell)
			}
			return
		}
	case []any:
		if y, ok := b.([]any); ok && len(x) == len(y) {
			for i := range x {
				differ(fmt.Sprintf("%s[%d]", at, i), x[i], y[i], tell)
			}
			return
		}
	default:
		if a == b {
			return
		}
	}
	tell(fmt.Sprintf("%s is %s, the readings give %s", at, short(a), short(b)))
}

func keysOf(x, y map[string]any) (keys []string) {
	for k := range x {
		keys = append(keys, k)
	}
	for k := range y {
		if _, there := x[k]; !there {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	return keys
}

func short(v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	if len(text) > 60 {
		return strings.ToValidUTF8(string(text[:60]), "") + "..."
	}
	return string(text)
}
