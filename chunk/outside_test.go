package chunk

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// moduleDir is where the module of this build lies in the module cache.
func moduleDir(t testing.TB, path string) string {
	t.Helper()
	return goOutput(t, ".", "list", "-m", "-f", "{{.Dir}}", path)
}

var goRoot = sync.OnceValues(func() (string, error) {
	out, err := exec.Command("go", "env", "GOROOT").Output()
	return strings.TrimSpace(string(out)), err
})

// goRootDir is where the Go installation lies.
func goRootDir(t testing.TB) string {
	t.Helper()
	dir, err := goRoot()
	if err != nil || dir == "" {
		t.Fatalf("the Go installation, whose files this test reads, was not found by `go env GOROOT`: %v", err)
	}
	return dir
}

// downloaded is where a module that this build does not use lies after it was
// fetched through the module proxy.
func downloaded(t testing.TB, module string) string {
	t.Helper()
	// Not in this module's folder, so that its go.mod and go.sum stay as they are.
	var got struct{ Dir string }
	if err := json.Unmarshal([]byte(goOutput(t, t.TempDir(), "mod", "download", "-json", module)), &got); err != nil {
		t.Fatal(err)
	}
	return got.Dir
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
