//go:build unix

package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Whatever the umask, the real program's logbook is its owner's alone, and it
// works.
func TestModesWhateverTheUmask(t *testing.T) {
	base := t.TempDir()
	tree := filepath.Join(base, "share")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	for _, mask := range []string{"000", "022", "077", "027", "277", "777"} {
		book := filepath.Join(base, "state", mask, "book")
		for range 2 {
			o := runs(t, "sh", "-c", `umask "$1"; shift; exec "$@"`, "sh", mask, theProgram(t), "scan", "--quiet", "--logbook", book, tree)
			if o.code != exitDone {
				t.Fatalf("umask %s: exit code %d: %s", mask, o.code, o.stderr)
			}
			write(t, filepath.Join(tree, "b.txt"), mask)
		}
		seen := 0
		err := filepath.WalkDir(book, func(path string, d fs.DirEntry, err error) error {
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
			if seen++; info.Mode().Perm() != want {
				t.Errorf("umask %s: %s has mode %04o", mask, path, info.Mode().Perm())
			}
			return nil
		})
		if err != nil || seen < 12 {
			t.Fatalf("%d files and folders, %v", seen, err)
		}
	}
}

// A key that group or others can read is refused, with what to do about it.
func TestKeyOthersCanReadIsRefused(t *testing.T) {
	base := t.TempDir()
	tree, book := filepath.Join(base, "share"), filepath.Join(base, "book")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", book, tree)
	key := filepath.Join(book, "logbook.key")
	elsewhere := filepath.Join(base, "key")
	data, err := os.ReadFile(key)
	if err != nil {
		t.Fatal(err)
	}
	write(t, elsewhere, string(data))
	for _, mode := range []fs.FileMode{0o640, 0o604, 0o620, 0o602, 0o601, 0o666} {
		for file, args := range map[string][]string{key: nil, elsewhere: {"--key", elsewhere}} {
			if err := os.Chmod(file, mode); err != nil {
				t.Fatal(err)
			}
			o := mustRun(t, exitDamaged, append(args, "scan", "--logbook", book)...)
			lines := strings.Split(o.stderr, "\n")
			if len(lines) != 3 || !strings.Contains(lines[0], file) || !strings.HasPrefix(lines[1], "hint: ") || !strings.Contains(lines[1], "chmod 600") {
				t.Errorf("mode %04o: %q", mode, lines)
			}
			if err := os.Chmod(file, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	// Reports need no key, and audit says what is wrong with it.
	if err := os.Chmod(key, 0o644); err != nil {
		t.Fatal(err)
	}
	mustRun(t, exitDone, "explain", "--quiet", "--logbook", book)
	if o := mustRun(t, exitDamaged, "audit", "--logbook", book); !strings.Contains(o.stdout, "logbook.key") {
		t.Errorf("%q", o.stdout)
	}
}
