package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// arrows is the data's way through the program: what each package may import of
// the project. folder → file → chunk → fingerprint → snapshot → logbook →
// measure → estimate → view. A package that is not named here, or an import that
// is not, fails: nothing runs back.
var arrows = map[string][]string{
	"chunk":                    {},
	"chunk/alloctest":          {}, // for tests
	"scan/logbook":             {"chunk"},
	"scan":                     {"chunk", "scan/logbook"},
	"report/stats":             {},
	"report/units":             {},
	"report/engine":            {},
	"report/measure":           {"chunk", "scan/logbook", "report/stats", "report/units", "report/engine"},
	"report/estimate":          {"chunk", "scan/logbook", "report/stats", "report/units", "report/engine", "report/measure"},
	"report/view":              {"chunk", "scan/logbook", "report/stats", "report/units", "report/engine", "report/measure", "report/estimate"},
	"report/render":            {"chunk", "scan/logbook", "report/stats", "report/units", "report/engine", "report/measure", "report/estimate", "report/view"},
	"report/render/html":       {"chunk", "scan/logbook", "report/units", "report/measure", "report/view", "report/render/html/chart"},
	"report/render/html/chart": {}, // knows pictures, not what they show
	"cmd/tidemark/tour":        {}, // the known truth shares no code with what is checked against it
	"cmd/tidemark": {
		"chunk", "scan/logbook", "scan", "report/stats", "report/units", "report/engine",
		"report/measure", "report/estimate", "report/view", "report/render", "report/render/html", "cmd/tidemark/tour",
	},
}

// pure packages touch no file system, process or network.
var pure = map[string][]string{
	"chunk": {"os", "io/fs", "io/ioutil", "path/filepath", "net", "syscall", "os/exec", "embed", "golang.org/x/sys/unix"},
}

const module = "tidemark"

// projectImports lists the imports of every package that is not a test,
// whatever system it is built for.
func projectImports(t *testing.T, root string) map[string][]string {
	t.Helper()
	imports := map[string][]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); path != root && (strings.HasPrefix(name, ".") || name == "testdata") {
				return fs.SkipDir
			}
			return nil
		}
		if filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		pkg := filepath.ToSlash(dir)
		imports[pkg] = append(imports[pkg], "")
		for _, spec := range file.Imports {
			name, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			imports[pkg] = append(imports[pkg], name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return imports
}

func TestImportsFollowTheData(t *testing.T) {
	root := filepath.Join("..", "..")
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Fatal(err)
	}
	found := projectImports(t, root)
	for pkg, imports := range found {
		if generator(root, pkg) {
			continue
		}
		allowed, known := arrows[pkg]
		if !known {
			t.Errorf("package %s has no place in the data's way", pkg)
			continue
		}
		for _, name := range imports {
			if own, is := strings.CutPrefix(name, module+"/"); is && !slices.Contains(allowed, own) {
				t.Errorf("%s imports %s, which does not lie before it", pkg, own)
			}
			if slices.Contains(pure[pkg], name) {
				t.Errorf("%s is pure and imports %s", pkg, name)
			}
		}
	}
	if len(found["cmd/tidemark"]) < 2 || len(found["chunk"]) < 2 {
		t.Error("the walk did not find the packages it is there to check")
	}
}

// generator says whether every file of a package is kept out of builds: what
// go run makes checked-in tables with is no part of the program.
func generator(root, pkg string) bool {
	list, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(pkg), "*.go"))
	if err != nil || len(list) == 0 {
		return false
	}
	for _, path := range list {
		text, err := os.ReadFile(path)
		if err != nil || !strings.Contains(string(text), "//go:build ignore\n") {
			return false
		}
	}
	return true
}

// The map itself must hold no way back, or the test above would let one through.
func TestArrowsHaveNoCycle(t *testing.T) {
	var visit func(pkg string, way []string)
	visit = func(pkg string, way []string) {
		if slices.Contains(way, pkg) {
			t.Fatalf("the arrows run back: %s", strings.Join(append(way, pkg), " → "))
		}
		for _, next := range arrows[pkg] {
			visit(next, append(slices.Clip(way), pkg))
		}
	}
	for pkg := range arrows {
		visit(pkg, nil)
	}
}
