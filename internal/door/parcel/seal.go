package parcel

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
)

// sealFile is the last file of a sealed archive: the digests of all the others.
const sealFile = "seal.json"

// Seal says what a sealed archive holds. It covers every byte of the archive:
// the files by their digests, what stands between them by being written in one
// way only, so that it can be written again and compared.
type Seal struct {
	Format  int      `json:"format"`
	Version string   `json:"version"` // of the program that packed
	Method  string   `json:"method"`  // by which its figures were worked out, a digest
	Files   []Sealed `json:"files"`
	Head    string   `json:"head"` // the chain's last digest: who keeps it apart can tell any other archive
}

// Sealed is one file. Chain is the SHA-256 of the chain before it (64 hexadecimal
// digits, none for the first file) followed by its name, a line feed, SHA256 and
// Packed.
type Sealed struct {
	Name   string `json:"name"`
	Bytes  uint64 `json:"bytes"`
	SHA256 string `json:"sha256"`
	Packed string `json:"packed_sha256"` // of the bytes as they are compressed
	Chain  string `json:"chain"`
}

func (s Sealed) link(before string) string {
	sum := sha256.Sum256([]byte(before + s.Name + "\n" + s.SHA256 + s.Packed))
	return hex.EncodeToString(sum[:])
}

// SealOf copies an archive file by file, and adds its seal.
func SealOf(to io.Writer, in io.ReaderAt, size int64, version, method string) (Seal, error) {
	s := Seal{Format: format, Version: version, Method: method}
	z, err := zip.NewReader(in, size)
	if err != nil {
		return s, fmt.Errorf("sealing an archive: %w", err)
	}
	for _, f := range z.File {
		one, err := digest(f)
		if err != nil {
			return s, err
		}
		s.Files = append(s.Files, one)
	}
	s.chain()
	return s, s.write(to, z)
}

// chain works the chain out over the files.
func (s *Seal) chain() {
	s.Head = ""
	for i := range s.Files {
		s.Files[i].Chain = s.Files[i].link(s.Head)
		s.Head = s.Files[i].Chain
	}
}

// digest reads one file of an archive.
func digest(f *zip.File) (Sealed, error) {
	s := Sealed{Name: f.Name}
	packed, err := f.OpenRaw()
	if err != nil {
		return s, fmt.Errorf("%s cannot be read: %w", f.Name, err)
	}
	raw, plain := sha256.New(), sha256.New()
	if _, err := io.Copy(raw, packed); err != nil {
		return s, fmt.Errorf("%s cannot be read: %w", f.Name, err)
	}
	in, err := f.Open()
	if err != nil {
		return s, fmt.Errorf("%s cannot be unpacked: %w", f.Name, err)
	}
	defer in.Close()
	n, err := io.Copy(plain, in)
	if err != nil {
		return s, fmt.Errorf("%s cannot be unpacked: %w", f.Name, err)
	}
	s.Bytes, s.SHA256, s.Packed = uint64(n), hex.EncodeToString(plain.Sum(nil)), hex.EncodeToString(raw.Sum(nil))
	return s, nil
}

// write writes the archive in the one way there is: files in the seal's order, as
// they are compressed, without times or remarks, and the seal uncompressed.
func (s *Seal) write(to io.Writer, z *zip.Reader) error {
	w := zip.NewWriter(to)
	for _, one := range s.Files {
		i := slices.IndexFunc(z.File, func(f *zip.File) bool { return f.Name == one.Name })
		f := z.File[i]
		packed, err := f.OpenRaw()
		if err == nil {
			err = put(w, zip.FileHeader{Name: f.Name, Method: f.Method, CRC32: f.CRC32,
				CompressedSize64: f.CompressedSize64, UncompressedSize64: f.UncompressedSize64}, packed)
		}
		if err != nil {
			return fmt.Errorf("writing %s: %w", one.Name, err)
		}
	}
	text, err := s.text()
	if err != nil {
		return err
	}
	if err := put(w, zip.FileHeader{Name: sealFile, Method: zip.Store, CRC32: crc32.ChecksumIEEE(text),
		CompressedSize64: uint64(len(text)), UncompressedSize64: uint64(len(text))}, bytes.NewReader(text)); err != nil {
		return fmt.Errorf("writing %s: %w", sealFile, err)
	}
	return w.Close()
}

func put(w *zip.Writer, h zip.FileHeader, packed io.Reader) error {
	to, err := w.CreateRaw(&h)
	if err == nil {
		_, err = io.Copy(to, packed)
	}
	return err
}

func (s *Seal) text() ([]byte, error) {
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("writing the seal: %w", err)
	}
	return append(text, '\n'), nil
}

// Unsealed compares every byte of a sealed archive with its seal, and names what
// does not agree. err is of an archive that has no seal that can be read.
func Unsealed(in io.ReaderAt, size int64) (s Seal, faults []string, err error) {
	z, err := zip.NewReader(in, size)
	if err != nil {
		return s, nil, fmt.Errorf("%w: %w", ErrNotAHouse, err)
	}
	if s, err = sealIn(z); err != nil {
		return s, nil, err
	}
	tell := func(words string, args ...any) { faults = append(faults, fmt.Sprintf(words, args...)) }
	before := ""
	for i, want := range s.Files {
		if slices.ContainsFunc(s.Files[:i], func(o Sealed) bool { return o.Name == want.Name }) {
			return s, nil, fmt.Errorf("%w: its seal names %q twice", ErrNotAHouse, want.Name)
		}
		if want.Chain != want.link(before) {
			tell("%s: the chain of seal.json does not hold at it", want.Name)
		}
		before = want.Chain
		at := slices.IndexFunc(z.File, func(f *zip.File) bool { return f.Name == want.Name })
		if at < 0 {
			tell("%s: is missing", want.Name)
			continue
		}
		got, err := digest(z.File[at])
		switch {
		case err != nil:
			tell("%s", err)
		case got.SHA256 != want.SHA256 || got.Bytes != want.Bytes:
			tell("%s: holds other bytes than were sealed (SHA-256 %s, not %s)", want.Name, got.SHA256, want.SHA256)
		case got.Packed != want.Packed:
			tell("%s: is compressed otherwise than it was sealed", want.Name)
		}
	}
	if before != s.Head {
		tell("%s: its head is not the end of its chain", sealFile)
	}
	for i, f := range z.File {
		sealed := slices.ContainsFunc(s.Files, func(o Sealed) bool { return o.Name == f.Name })
		if again := slices.IndexFunc(z.File, func(o *zip.File) bool { return o.Name == f.Name }); again < i ||
			!sealed && f.Name != sealFile {
			tell("%s: was added after the sealing", f.Name)
		}
	}
	if len(faults) > 0 {
		return s, faults, nil
	}
	same := &comparing{with: io.NewSectionReader(in, 0, size)}
	err = s.write(same, z)
	if err == nil {
		err = same.end()
	}
	if err != nil {
		tell("the archive around its files is not as it was written: %s", err)
	}
	return s, faults, nil
}

func sealIn(z *zip.Reader) (s Seal, err error) {
	f, err := z.Open(sealFile)
	if err != nil {
		return s, fmt.Errorf("%w: it has no %s", ErrNotAHouse, sealFile)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxLine))
	if err != nil {
		return s, fmt.Errorf("%w: %s cannot be read: %w", ErrNotAHouse, sealFile, err)
	}
	if err := json.Unmarshal(text, &s); err != nil {
		return s, fmt.Errorf("%w: %s: %w", ErrNotAHouse, sealFile, err)
	}
	if s.Format != format {
		return s, fmt.Errorf("%w: its seal is of format %d, this version reads %d", ErrNotAHouse, s.Format, format)
	}
	return s, nil
}

// comparing takes what is written and compares it with what there is.
type comparing struct {
	with io.Reader
	at   int64
	buf  []byte
}

func (c *comparing) Write(b []byte) (int, error) {
	c.buf = append(c.buf[:0], b...)
	if _, err := io.ReadFull(c.with, c.buf); err != nil {
		return 0, errors.New("it ends too early")
	}
	for i := range b {
		if b[i] != c.buf[i] {
			return 0, fmt.Errorf("byte %d differs", c.at+int64(i))
		}
	}
	c.at += int64(len(b))
	return len(b), nil
}

func (c *comparing) end() error {
	if n, _ := io.ReadFull(c.with, make([]byte, 1)); n > 0 {
		return fmt.Errorf("more follows byte %d", c.at)
	}
	return nil
}
