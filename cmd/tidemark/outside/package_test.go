package outside

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
)

// files of a version by path, whole.
type files map[string][]byte

// unpack reads a package's archive.
func unpack(t *testing.T, archive string) files {
	t.Helper()
	f, err := os.Open(archive)
	must(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	must(t, err)
	out := files{}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return out
		}
		must(t, err)
		if h.Typeflag != tar.TypeReg {
			continue
		}
		_, name, inside := strings.Cut(h.Name, "/")
		if !inside || !filepath.IsLocal(name) {
			t.Fatalf("%s: an archive that leaves its folder: %q", archive, h.Name)
		}
		if out[name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
}

// install puts a version in the place of the one before: what no longer belongs
// there goes, what differs is written anew.
func install(t *testing.T, dir string, old, now files) {
	t.Helper()
	for name := range old {
		if _, stays := now[name]; !stays {
			must(t, os.Remove(filepath.Join(dir, name)))
		}
	}
	for name, data := range now {
		if before, was := old[name]; !was || !bytes.Equal(before, data) {
			write(t, filepath.Join(dir, name), data)
		}
	}
}

// differing are the files that are new at their path or differ, with their
// bytes, and how many bytes differ in those that kept their length.
func differing(old, now files) (names []string, size, bytesThatDiffer int64) {
	for _, name := range slices.Sorted(maps.Keys(now)) {
		before, was := old[name]
		if was && bytes.Equal(before, now[name]) {
			continue
		}
		names = append(names, name)
		size += int64(len(now[name]))
		if len(before) == len(now[name]) {
			for i := range before {
				if before[i] != now[name][i] {
					bytesThatDiffer++
				}
			}
		}
	}
	return names, size, bytesThatDiffer
}

var builtIn string // the folder of the built program, "" before

var program = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "tidemark-outside-")
	if err != nil {
		return "", err
	}
	builtIn = dir
	name := filepath.Join(dir, "tidemark.exe")
	out, err := exec.Command("go", "build", "-o", name, "tidemark/cmd/tidemark").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("building the program: %w: %s", err, out)
	}
	return name, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if builtIn != "" {
		os.RemoveAll(builtIn)
	}
	os.Exit(code)
}

// tidemark runs the program and reads its JSON.
func tidemark(t *testing.T, args ...string) map[string]any {
	t.Helper()
	name, err := program()
	must(t, err)
	cmd := exec.Command(name, append(args, "--json")...)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("tidemark %s: %v\n%s", strings.Join(args, " "), err, stderr.String())
	}
	d := json.NewDecoder(&stdout)
	d.UseNumber()
	var m map[string]any
	must(t, d.Decode(&m))
	return m
}

// number is an integer of an answer.
func number(t *testing.T, m map[string]any, key string) int64 {
	t.Helper()
	n, ok := m[key].(json.Number)
	if !ok {
		t.Fatalf("%s is %v", key, m[key])
	}
	i, err := n.Int64()
	must(t, err)
	return i
}
