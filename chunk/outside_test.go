package chunk

import (
	"encoding/json"
	"go/build"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Files of others that these tests read lie in the module cache and in the Go
// installation. The go command, which knows where, is asked only if they are not
// in the usual places: an emulator of another machine may not be able to start it.

// moduleDir is where a module that go.mod requires lies in the module cache.
func moduleDir(t testing.TB, path string) string {
	t.Helper()
	for line := range strings.Lines(string(readFile(t, "..", "go.mod"))) {
		if f := strings.Fields(strings.TrimPrefix(line, "require ")); len(f) >= 2 && f[0] == path {
			if dir, ok := cached(path + "@" + f[1]); ok {
				return dir
			}
		}
	}
	return goOutput(t, ".", "list", "-m", "-f", "{{.Dir}}", path)
}

// downloaded is where a module that this build does not use lies, fetched
// through the module proxy if need be.
func downloaded(t testing.TB, module string) string {
	t.Helper()
	if dir, ok := cached(module); ok {
		return dir
	}
	// Not in this module's folder, so that its go.mod and go.sum stay as they are.
	var got struct{ Dir string }
	if err := json.Unmarshal([]byte(goOutput(t, t.TempDir(), "mod", "download", "-json", module)), &got); err != nil {
		t.Fatal(err)
	}
	return got.Dir
}

func cached(module string) (dir string, ok bool) {
	cache := os.Getenv("GOMODCACHE")
	if cache == "" {
		cache = filepath.Join(filepath.SplitList(build.Default.GOPATH)[0], "pkg", "mod")
	}
	dir = filepath.Join(cache, filepath.FromSlash(module))
	info, err := os.Stat(dir)
	return dir, err == nil && info.IsDir()
}

// goRootDir is where the Go installation lies. go test sets the variable.
func goRootDir(t testing.TB) string {
	t.Helper()
	if dir := os.Getenv("GOROOT"); dir != "" {
		return dir
	}
	return goOutput(t, ".", "env", "GOROOT")
}

func goOutput(t testing.TB, dir string, args ...string) string {
	t.Helper()
	cmd := exec.Command("go", args...)
	cmd.Dir = dir
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("this test needs what `go %s` gives, from the module cache or a module proxy: %v\n%s%s",
			strings.Join(args, " "), err, stderr.String(), out)
	}
	return strings.TrimSpace(string(out))
}

func readFile(t testing.TB, path ...string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return data
}
