//go:build unix

package logbook

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// Whatever the umask, nobody but the owner can read what is in a logbook.
func TestModesWhateverTheUmask(t *testing.T) {
	for _, mask := range []int{0, 0o777} {
		func() {
			parent := t.TempDir()
			defer syscall.Umask(syscall.Umask(mask))
			b, err := Create(filepath.Join(parent, "book"), CreateOptions{Params: testParams(t)})
			if err != nil {
				t.Fatal(err)
			}
			key, err := b.Key("")
			if err != nil {
				t.Fatal(err)
			}
			unlock, err := b.Lock()
			if err != nil {
				t.Fatal(err)
			}
			p, err := b.Begin(key)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := p.Commit(Segment{Taken: time.Now()}); err != nil {
				t.Fatal(err)
			}
			if err := unlock(); err != nil {
				t.Fatal(err)
			}
			seen := 0
			err = filepath.WalkDir(b.Dir(), func(path string, d fs.DirEntry, err error) error {
				if err != nil {
					return err
				}
				info, err := d.Info()
				if err != nil {
					return err
				}
				want := fs.FileMode(0o600)
				if d.IsDir() {
					want = 0o700
				}
				if info.Mode().Perm() != want {
					t.Errorf("umask %03o: %s has mode %04o", mask, path, info.Mode().Perm())
				}
				seen++
				return nil
			})
			if err != nil || seen < 9 {
				t.Errorf("%d files and folders, %v", seen, err)
			}
		}()
	}
}

func TestKeyThatOthersCanRead(t *testing.T) {
	b, _ := newBook(t)
	name := filepath.Join(b.Dir(), keyName)
	for _, mode := range []fs.FileMode{0o640, 0o604, 0o660} {
		if err := os.Chmod(name, mode); err != nil {
			t.Fatal(err)
		}
		_, err := b.Key("")
		oneLine(t, err, ErrKey, name, "chmod 600")
	}
	// By way of a link, the target counts.
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(name, link); err != nil {
		t.Fatal(err)
	}
	_, err := b.Key(link)
	oneLine(t, err, ErrKey, "chmod 600")
	if err := os.Chmod(name, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Key(link); err != nil {
		t.Error(err)
	}
}
