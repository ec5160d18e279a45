package logbook

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/zeebo/blake3"
)

// The logbook's JSON files are sealed: their last field is the BLAKE3 hash of
// the file's own bytes with that field empty. The place and form of the seal,
// and "format" beside it, are the same in every format version.

const (
	sealName = `,"self_blake3":"`
	sealEnd  = "\"}\n"
	hashHex  = 64

	// maxSealed bounds what is read into memory for a summary: far more than any scope fills.
	maxSealed = 64 << 20
)

var errNotRegular = errors.New("not a regular file")

func hexSum(data ...[]byte) string {
	h := blake3.New()
	for _, d := range data {
		h.Write(d)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// seal encodes v, a struct, and appends its seal. It returns the file's bytes and the seal.
func seal(v any) (data []byte, hash string, err error) {
	body, err := json.Marshal(v)
	if err != nil {
		return nil, "", err
	}
	body = append(body[:len(body)-1], sealName...)
	hash = hexSum(body, []byte(sealEnd))
	body = append(body, hash...)
	return append(body, sealEnd...), hash, nil
}

// unseal checks the seal and the format, and decodes data into v.
func unseal(data []byte, v any) (hash string, err error) {
	n := len(data) - len(sealEnd) - hashHex
	if n < len(sealName) || !bytes.HasSuffix(data, []byte(sealEnd)) || !bytes.HasSuffix(data[:n], []byte(sealName)) {
		return "", errors.New("it is cut short or not sealed")
	}
	hash = string(data[n : n+hashHex])
	if hexSum(data[:n], []byte(sealEnd)) != hash {
		return "", errors.New("its contents do not match its own hash")
	}
	switch format := formatOf(data); {
	case format > FormatVersion:
		return "", fmt.Errorf("%w: format %d, this program reads up to %d", ErrNewer, format, FormatVersion)
	case format < 1:
		return "", errors.New("it does not begin with its format's number")
	}
	return hash, json.Unmarshal(data, v)
}

// formatOf reads the first field, which is the format's number in every format. 0: it is not there.
func formatOf(data []byte) (n int) {
	rest, ok := bytes.CutPrefix(data, []byte(`{"format":`))
	if !ok {
		return 0
	}
	for _, c := range rest {
		if c < '0' || c > '9' || n > 1<<20 {
			break
		}
		n = 10*n + int(c-'0')
	}
	return n
}

// readAll reads a small file whole.
func readAll(fsys fileSystem, name string) ([]byte, error) {
	f, err := fsys.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if f.Size() > maxSealed {
		return nil, fmt.Errorf("%s: it has %d bytes, far more than such a file can have", name, f.Size())
	}
	data := make([]byte, f.Size())
	if n, err := f.ReadAt(data, 0); n < len(data) {
		if err == nil || errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return data, nil
}

// writeNew writes a new file and syncs it.
func writeNew(fsys fileSystem, name string, data []byte) error {
	f, err := fsys.Create(name)
	if err != nil {
		return err
	}
	n, err := f.Write(data)
	if err == nil && n < len(data) {
		err = io.ErrShortWrite
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// replace writes data under a temporary name beside name, syncs it and renames
// it: readers see the old contents or the new, never a part. placed says that
// they see the new ones, whatever the error.
func replace(fsys fileSystem, dir, name string, data []byte) (placed bool, err error) {
	temp := dir + "/" + tempPrefix + name
	if err := removeIfThere(fsys, temp); err != nil {
		return false, err
	}
	if err := writeNew(fsys, temp, data); err != nil {
		fsys.Remove(temp) // what stays is swept by the next scan
		return false, err
	}
	if err := fsys.Rename(temp, dir+"/"+name); err != nil {
		fsys.Remove(temp)
		return false, err
	}
	return true, fsys.SyncDir(dir)
}
