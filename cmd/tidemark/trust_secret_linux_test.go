package main

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
)

// marker is what no file that is written may hold: random bytes, so that no
// compression hides them.
var marker = []byte("\x9b\xe2\x41\x07\xf3\x8d\x5a\xc6\x12\xee\x73\xb9\x04\xd8\x6f\xa1\x35\xca\x90\x5e\xfd\x28\x87\xb4")

// plant puts the marker into files of every kind that is treated differently:
// tiny ones, ones of many parts, sparse ones, appended ones.
func plant(t *testing.T, tree string) {
	t.Helper()
	text := string(marker)
	write(t, filepath.Join(tree, "tiny"), text)
	write(t, filepath.Join(tree, "many"), strings.Repeat(text+strings.Repeat("pine ", 40), 5000))
	write(t, filepath.Join(tree, "only"), strings.Repeat(text, 40_000))
	write(t, filepath.Join(tree, "hole"), text+strings.Repeat("\x00", 3<<20)+text)
}

// asTraced is how the tracer prints bytes.
func asTraced(data []byte) string {
	var b strings.Builder
	for _, c := range data {
		fmt.Fprintf(&b, "\\x%02x", c)
	}
	return b.String()
}

// secretTrace shows every byte that is written by whatever call, and every file
// that is opened, made or mapped.
var secretTrace = []string{
	"-xx", "-s", "33554432", "-e", "signal=none",
	"-e", "trace=write,writev,pwrite64,pwritev,pwritev2,sendfile,splice,copy_file_range,vmsplice,ftruncate,fallocate," +
		"openat,openat2,open,creat,mkdir,mkdirat,mknod,mknodat,memfd_create,mmap,symlinkat,symlink,linkat,link",
}

// No contents reach the disk, in no file that is written for however short a
// time; the key is written once, into its own file, and printed never; whatever is
// made is for its owner alone from its first moment.
func TestNothingSecretIsWritten(t *testing.T) {
	base := t.TempDir()
	tree, book := filepath.Join(base, "share"), filepath.Join(base, "book")
	plant(t, tree)
	var all, said strings.Builder
	for _, args := range [][]string{
		{"scan", tree}, {"scan", "--reread", "--json"}, {"explain"}, {"change", "--json"}, {"audit"}, {"audit", "--json"},
	} {
		if len(args) > 1 && args[1] == "--reread" {
			f, err := os.OpenFile(filepath.Join(tree, "many"), os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				t.Fatal(err)
			}
			f.Write(marker)
			f.Close()
			write(t, filepath.Join(tree, "only"), strings.Repeat(string(marker), 30_000))
		}
		o, trace, ok := traced(t, secretTrace, theProgram(t), append(args, "--logbook", book)...)
		if !ok {
			return
		}
		if o.code != exitDone {
			t.Fatalf("%v: exit code %d: %s", args, o.code, o.stderr)
		}
		all.WriteString(trace)
		said.WriteString(o.stdout + o.stderr)
	}
	trace := all.String()

	// What must be seen is seen: the tree's path is written, into the summaries.
	if !strings.Contains(trace, asTraced([]byte(tree))) {
		t.Fatal("the trace does not show what is written")
	}
	if strings.Contains(trace, asTraced(marker)) || strings.Contains(trace, asTraced(marker[:8])) {
		t.Error("contents were written")
	}
	key, err := os.ReadFile(filepath.Join(book, "logbook.key"))
	if err != nil || len(key) != 32 {
		t.Fatal(err)
	}
	if n := strings.Count(trace, asTraced(key)); n != 1 {
		t.Errorf("the key was written %d times", n)
	}
	for name, form := range map[string]string{
		"as it is": string(key), "hex": hex.EncodeToString(key), "base64": strings.TrimRight(base64.StdEncoding.EncodeToString(key), "="),
		"a part of it, hex": hex.EncodeToString(key[:6]),
	} {
		if strings.Contains(strings.ToLower(said.String()), strings.ToLower(form)) {
			t.Errorf("the key was printed (%s)", name)
		}
	}

	// Files are made in the logbook only, and for the owner alone.
	made := regexp.MustCompile(`(openat2?|open|creat|mkdir|mkdirat|mknod|mknodat|memfd_create|symlinkat|symlink|linkat|link)\((?:AT_FDCWD, |\d+, )?"((?:\\x[0-9a-f]{2})*)"(.*)`)
	count := 0
	for line := range strings.Lines(trace) {
		if strings.Contains(line, "mmap(") && strings.Contains(line, "MAP_SHARED") && strings.Contains(line, "PROT_WRITE") {
			t.Errorf("a file is written by way of memory: %s", line)
		}
		m := made.FindStringSubmatch(line)
		if m == nil || strings.HasPrefix(m[1], "open") && !strings.Contains(m[3], "O_CREAT") && !strings.Contains(m[3], "O_WRONLY") && !strings.Contains(m[3], "O_RDWR") {
			continue
		}
		name, err := hex.DecodeString(strings.ReplaceAll(m[2], "\\x", ""))
		if err != nil {
			t.Fatal(err)
		}
		count++
		if !strings.HasPrefix(string(name), book) {
			t.Errorf("made or opened for writing outside the logbook: %s %q%s", m[1], name, m[3])
		}
		if mode := regexp.MustCompile(`, 0(\d+)(?:\)| <unfinished)`).FindStringSubmatch(m[3]); mode == nil || strings.TrimLeft(mode[1], "67") != "00" {
			t.Errorf("made for others too: %s %q%s", m[1], name, m[3])
		}
	}
	if count < 15 {
		t.Fatalf("only %d files were seen to be made", count)
	}
	holdsNoMarker(t, book)
}

// holdsNoMarker looks into every file of a logbook, and at every value of its
// Parquet files as a reader unpacks them.
func holdsNoMarker(t *testing.T, book string) {
	t.Helper()
	values := 0
	err := filepath.WalkDir(book, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if bytes.Contains(data, marker[:8]) {
			t.Errorf("%s holds contents", path)
		}
		if filepath.Ext(path) != ".parquet" {
			return nil
		}
		f, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			return err
		}
		for _, g := range f.RowGroups() {
			rows := g.Rows()
			defer rows.Close()
			buf := make([]parquet.Row, 64)
			for {
				n, err := rows.ReadRows(buf)
				for _, row := range buf[:n] {
					for _, v := range row {
						values++
						if bytes.Contains(v.Bytes(), marker[:8]) {
							t.Errorf("%s holds contents in column %d", path, v.Column())
						}
					}
				}
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if values < 100 {
		t.Fatalf("only %d values were read", values)
	}
}
