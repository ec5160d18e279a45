// Package outside holds the program's figures against what others made: real
// successive versions of published packages, and another engine that recomputes
// the figures from the logbook's files.
//
// Data and engine come from the npm registry by its ordinary client when the
// tests run, and stay in a cache: the folder tidemark-testdata in the user's
// cache folder, or the one that TIDEMARK_TEST_CACHE names. Where they can't be
// had, a test says so and is skipped; with TIDEMARK_TEST_ALL=1 it fails instead.
package outside

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// missing ends a test for want of what comes from outside.
func missing(t *testing.T, err error) {
	t.Helper()
	if os.Getenv("TIDEMARK_TEST_ALL") != "" {
		t.Fatalf("TIDEMARK_TEST_ALL is set, and what this test needs from outside can not be had: %v", err)
	}
	t.Skipf("NOT CHECKED: what this test needs from outside can not be had: %v", err)
}

func cacheDir(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("TIDEMARK_TEST_CACHE")
	if dir == "" {
		base, err := os.UserCacheDir()
		must(t, err)
		dir = filepath.Join(base, "tidemark-testdata")
	}
	dir, err := filepath.Abs(dir)
	must(t, err)
	must(t, os.MkdirAll(dir, 0o755))
	return dir
}

var fetching sync.Mutex // one npm at a time

// cached is the path of something in the cache, made by fetch in a folder of its
// own where it is not there yet: fetch returns the path of what it made.
func cached(t *testing.T, name string, fetch func(dir string) (string, error)) string {
	t.Helper()
	fetching.Lock()
	defer fetching.Unlock()
	cache := cacheDir(t)
	place := filepath.Join(cache, name)
	if _, err := os.Lstat(place); err == nil {
		return place
	}
	tmp, err := os.MkdirTemp(cache, "fetching-")
	must(t, err)
	defer os.RemoveAll(tmp)
	made, err := fetch(tmp)
	if err != nil {
		missing(t, err)
	}
	// Whole or not at all. Another process may have been faster.
	if err := os.Rename(made, place); err != nil {
		if _, there := os.Lstat(place); there != nil {
			t.Fatal(err)
		}
	}
	return place
}

func npm(dir string, args ...string) error {
	path, err := exec.LookPath("npm")
	if err != nil {
		return errors.New("there is no npm in PATH; install Node.js with its npm")
	}
	cmd := exec.Command(path, args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "npm_config_update_notifier=false", "npm_config_fund=false", "npm_config_audit=false", "npm_config_loglevel=error")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("npm %s: %w: %s", strings.Join(args, " "), err, strings.TrimSpace(stderr.String()))
	}
	return nil
}

// pack is a published package's archive, as npm pack brings it.
func pack(t *testing.T, name, version string) string {
	t.Helper()
	file := strings.ReplaceAll(strings.TrimPrefix(name, "@"), "/", "-") + "-" + version + ".tgz"
	return cached(t, file, func(dir string) (string, error) {
		return filepath.Join(dir, file), npm(dir, "pack", name+"@"+version)
	})
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
