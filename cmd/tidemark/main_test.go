package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"go.uber.org/goleak"

	"tidemark/report/units"
	"tidemark/scan/logbook"
)

var update = flag.Bool("update", false, "rewrite what the scripts compare with")

func TestMain(m *testing.M) {
	testscript.Main(leakChecked{m}, map[string]func(){"tidemark": main})
}

// leakChecked looks, after all tests went well, for goroutines that a command left
// behind in this process.
type leakChecked struct{ tests *testing.M }

func (m leakChecked) Run() int {
	code := m.tests.Run()
	if code != 0 {
		return code
	}
	if err := goleak.Find(); err != nil {
		fmt.Fprintf(os.Stderr, "the commands leave goroutines behind: %v\n", err)
		return 1
	}
	return 0
}

// The scripts are what a person types and sees.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       *update,
		Setup: func(e *testscript.Env) error {
			e.Vars = append(e.Vars,
				"TIDEMARK_LOGBOOK="+filepath.Join(e.WorkDir, "book"),
				"HOME="+e.WorkDir, "NO_COLOR=1", "STATE_DIRECTORY=", "XDG_STATE_HOME=")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"code":       exitsWith,
			"complains":  complains,
			"field":      field,
			"identities": identitiesOf,
			"random":     randomFile,
			"overwrite":  overwrite,
			"sparse":     sparse,
			"deep":       deepPath,
			"many":       manyFiles,
			"hostile":    hostileNames,
			"hold":       holdLock,
			"age":        age,
		},
	})
}

// exitsWith runs a program and checks its exit code: code N PROGRAM ARGS...
func exitsWith(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: code N PROGRAM ARGS...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got, exit := 0, (*exec.ExitError)(nil)
	switch err := ts.Exec(args[1], args[2:]...); e := err.(type) {
	case nil:
	case *exec.ExitError:
		got, exit = e.ExitCode(), e
	default:
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d (%v)", got, want, exit)
	}
}

// complains checks that the last program said one line on stderr, begun by the
// program's name and holding each of the texts, and then one hint at least.
func complains(ts *testscript.TestScript, neg bool, args []string) {
	if neg {
		ts.Fatalf("usage: complains TEXT...")
	}
	lines := strings.Split(strings.TrimSuffix(ts.ReadFile("stderr"), "\n"), "\n")
	if len(lines) != 2 || !strings.HasPrefix(lines[0], "tidemark: ") || !strings.HasPrefix(lines[1], "hint: ") {
		ts.Fatalf("not one line and a hint: %q", lines)
	}
	for _, text := range args {
		if !strings.Contains(lines[0]+"\n"+lines[1], text) {
			ts.Fatalf("no %q in %q", text, lines)
		}
	}
}

func readJSON(ts *testscript.TestScript, file string) map[string]any {
	d := json.NewDecoder(strings.NewReader(ts.ReadFile(file)))
	d.UseNumber()
	var v map[string]any
	ts.Check(d.Decode(&v))
	if d.More() {
		ts.Fatalf("%s holds more than one object", file)
	}
	return v
}

// field compares a value in a JSON file: field FILE a.b.0.c VALUE. An index
// picks from a list, a key=value the object that has it.
func field(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: [!] field FILE PATH VALUE")
	}
	var at any = readJSON(ts, args[0])
	for _, step := range strings.Split(args[1], ".") {
		switch v := at.(type) {
		case map[string]any:
			next, there := v[step]
			if !there {
				ts.Fatalf("%s: no field %q", args[1], step)
			}
			at = next
		case []any:
			at = pick(v, step)
		default:
			ts.Fatalf("%s: %q is not inside an object or a list", args[1], step)
		}
	}
	got := fmt.Sprint(at)
	if list, is := at.([]any); is {
		got = fmt.Sprintf("list of %d", len(list))
	}
	if (got == args[2]) == neg {
		ts.Fatalf("%s is %s", args[1], got)
	}
}

func pick(list []any, step string) any {
	if key, value, is := strings.Cut(step, "="); is {
		for _, x := range list {
			if m, is := x.(map[string]any); is && fmt.Sprint(m[key]) == value {
				return x
			}
		}
		return nil
	}
	if i, err := strconv.Atoi(step); err == nil && i < len(list) {
		return list[i]
	}
	return nil
}

// identitiesOf checks that every sum in a JSON answer adds up.
func identitiesOf(ts *testscript.TestScript, neg bool, args []string) {
	for _, file := range args {
		for _, wrong := range checkIdentities(readJSON(ts, file)) {
			ts.Fatalf("%s: %s", file, wrong)
		}
	}
}

// randomFile makes a file of random bytes: random FILE SIZE SEED. Random bytes
// repeat nothing and do not compress.
func randomFile(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: random FILE SIZE SEED")
	}
	n, err := units.ParseBytes(args[1])
	ts.Check(err)
	seed, err := strconv.ParseUint(args[2], 10, 8)
	ts.Check(err)
	data := make([]byte, n)
	rand.NewChaCha8([32]byte{byte(seed)}).Read(data)
	name := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(filepath.Dir(name), 0o755))
	ts.Check(os.WriteFile(name, data, 0o644))
}

// overwrite writes a text in place: overwrite FILE OFFSET TEXT
func overwrite(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: overwrite FILE OFFSET TEXT")
	}
	at, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	f, err := os.OpenFile(ts.MkAbs(args[0]), os.O_WRONLY, 0)
	ts.Check(err)
	defer f.Close()
	_, err = f.WriteAt([]byte(args[2]), at)
	ts.Check(err)
}

// sparse makes a file that is one hole: sparse FILE SIZE
func sparse(ts *testscript.TestScript, neg bool, args []string) {
	n, err := units.ParseBytes(args[1])
	ts.Check(err)
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	defer f.Close()
	ts.Check(f.Truncate(n))
}

// deepPath puts a file below folders whose path has so many characters: deep
// DIR LENGTH. It goes down folder by folder, since such a path can not be named.
func deepPath(ts *testscript.TestScript, neg bool, args []string) {
	length, err := strconv.Atoi(args[1])
	ts.Check(err)
	root, err := os.OpenRoot(ts.MkAbs(args[0]))
	ts.Check(err)
	name := strings.Repeat("d", 249)
	for ; length > 0; length -= len(name) + 1 {
		ts.Check(root.Mkdir(name, 0o755))
		next, err := root.OpenRoot(name)
		root.Close()
		ts.Check(err)
		root = next
	}
	defer root.Close()
	ts.Check(root.WriteFile("bottom", []byte("the bottom\n"), 0o644))
}

// manyFiles makes so many empty files in one folder: many DIR COUNT
func manyFiles(ts *testscript.TestScript, neg bool, args []string) {
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o755))
	for i := range n {
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("f%06d", i)))
		ts.Check(err)
		f.Close()
	}
}

// hostileNames makes files whose names attack what prints them.
func hostileNames(ts *testscript.TestScript, neg bool, args []string) {
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o755))
	for i, name := range []string{
		"line\nbreak", "return\rover", "\x1b[2Jclear", "\x1b]0;title\x07", "c1\u009b31m", "bad\xff\xfeutf8", "\u202egpj.exe", "zero\u200bwidth",
		"=1+1", "+1", "-1", "@SUM(A1)", `quote",comma`, `back\slash`, "<script>alert(1)<b>",
	} {
		ts.Check(os.WriteFile(filepath.Join(dir, name), fmt.Appendf(nil, "hostile %d in %s\n", i, args[0]), 0o644))
	}
}

// holdLock keeps the scan lock of a logbook until the script ends: hold DIR
func holdLock(ts *testscript.TestScript, neg bool, args []string) {
	book, err := logbook.Open(ts.MkAbs(args[0]))
	ts.Check(err)
	unlock, err := book.Lock()
	ts.Check(err)
	ts.Defer(func() { unlock() })
}

// age sets a file's modification time back by so many hours: age FILE HOURS
func age(ts *testscript.TestScript, neg bool, args []string) {
	hours, err := strconv.Atoi(args[1])
	ts.Check(err)
	then := time.Now().Add(-time.Duration(hours) * time.Hour)
	ts.Check(os.Chtimes(ts.MkAbs(args[0]), then, then))
}

// program runs the program inside this process.
func tidemark(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), args, strings.NewReader(""), &out, &errs)
	return code, out.String(), errs.String()
}
