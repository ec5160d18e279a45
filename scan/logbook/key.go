package logbook

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"github.com/zeebo/blake3"

	"tidemark/chunk"
)

func isMissing(err error) bool { return errors.Is(err, fs.ErrNotExist) }

// checkValue tells keys apart without saying anything about them.
func checkValue(key chunk.Key) string {
	h, err := blake3.NewKeyed(subkey(key, checkContext))
	if err != nil {
		panic(err) // the key has 32 bytes
	}
	h.WriteString("the key of this logbook")
	return hex.EncodeToString(h.Sum(nil))
}

// readKey reads a key file. The error wraps ErrKey.
func readKey(fsys fileSystem, name string) (key chunk.Key, err error) {
	info, err := fsys.Lstat(name)
	if err == nil && info.Mode()&fs.ModeSymlink != 0 {
		// The link's target is what must be private.
		var target string
		if target, err = filepath.EvalSymlinks(name); err == nil {
			info, err = fsys.Lstat(target)
		}
	}
	switch {
	case err != nil && isMissing(err):
		return key, fmt.Errorf("%w: %s is not there; give the key's place by --key FILE, or restore the file from a copy (it is needed to scan, not to report)", ErrKey, name)
	case err != nil:
		return key, fmt.Errorf("%w: %w", ErrKey, err)
	case readableByOthers(info):
		return key, fmt.Errorf("%w: %s can be read by others (mode %04o); run chmod 600 on it, and make a new logbook if someone may have taken the key", ErrKey, name, info.Mode().Perm())
	case info.Size() != int64(len(key)):
		return key, fmt.Errorf("%w: %s has %d bytes, a key has %d; restore it from a copy", ErrKey, name, info.Size(), len(key))
	}
	data, err := readAll(fsys, name)
	if err != nil {
		return key, fmt.Errorf("%w: %w", ErrKey, err)
	}
	if copy(key[:], data) != len(key) {
		return key, fmt.Errorf("%w: %s has %d bytes, a key has %d; restore it from a copy", ErrKey, name, len(data), len(key))
	}
	return key, nil
}

// makeKey writes a key, a new one if known is nil, to a file that must not exist.
func makeKey(fsys fileSystem, name string, known *chunk.Key) (key chunk.Key, err error) {
	if known != nil {
		key = *known
	} else {
		rand.Read(key[:]) // never fails
	}
	dir, base := filepath.Split(name)
	dir = filepath.Clean(dir)
	temp := filepath.Join(dir, tempPrefix+base)
	if err := removeIfThere(fsys, temp); err != nil {
		return key, err
	}
	if err := writeNew(fsys, temp, key[:]); err != nil {
		fsys.Remove(temp)
		return key, err
	}
	if _, err := fsys.Lstat(name); err == nil {
		fsys.Remove(temp)
		return key, fmt.Errorf("%s: %w", name, fs.ErrExist)
	}
	if err := fsys.Rename(temp, name); err != nil {
		fsys.Remove(temp)
		return key, err
	}
	return key, fsys.SyncDir(dir)
}

// Key reads the key file ("" : the one inside the folder) and checks it
// against the logbook's check value. Errors wrap ErrKey (missing, foreign,
// readable by others).
func (b *Book) Key(file string) (chunk.Key, error) {
	if file == "" {
		file = b.dir + "/" + keyName
	}
	key, err := readKey(b.fs, file)
	if err != nil {
		return chunk.Key{}, err
	}
	if checkValue(key) != b.meta.Key.Check {
		return chunk.Key{}, fmt.Errorf("%w: %s is another logbook's key; fingerprints under it could not be compared with those in %s", ErrKey, file, b.dir)
	}
	return key, nil
}
