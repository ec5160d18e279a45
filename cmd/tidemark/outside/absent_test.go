package outside

import (
	"os"
	"os/exec"
	"strings"
	"testing"
)

// Without npm the tests say so and are skipped; where everything is demanded,
// they fail.
func TestWithoutNpm(t *testing.T) {
	for _, c := range []struct {
		all, says string
		fails     bool
	}{
		{"", "NOT CHECKED: what this test needs from outside can not be had: there is no npm in PATH", false},
		{"1", "TIDEMARK_TEST_ALL is set, and what this test needs from outside can not be had: there is no npm in PATH", true},
	} {
		cmd := exec.Command(os.Args[0], "-test.run=^(TestPublishedPair|TestSeveralHosts)$", "-test.v")
		cmd.Env = append(os.Environ(), "TIDEMARK_TEST_ALL="+c.all, "TIDEMARK_TEST_CACHE="+t.TempDir(), "PATH="+t.TempDir())
		out, err := cmd.CombinedOutput()
		if (err != nil) != c.fails || strings.Count(string(out), c.says) != 2 {
			t.Errorf("TIDEMARK_TEST_ALL=%q: %v\n%s", c.all, err, out)
		}
	}
}

// A registry that has not got a package, or can not be reached, is told by npm's
// own words, and nothing half fetched stays in the cache.
func TestWithoutRegistry(t *testing.T) {
	if _, err := exec.LookPath("npm"); err != nil {
		missing(t, err)
	}
	cache := t.TempDir()
	cmd := exec.Command(os.Args[0], "-test.run=^TestPublishedPair$", "-test.v")
	cmd.Env = append(os.Environ(), "TIDEMARK_TEST_ALL=", "TIDEMARK_TEST_CACHE="+cache,
		"npm_config_registry=http://127.0.0.1:9/", "npm_config_fetch_retries=0", "npm_config_cache="+t.TempDir())
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "NOT CHECKED: ") || !strings.Contains(string(out), "npm pack typescript@6.0.0-dev.20251229: exit status") || !strings.Contains(string(out), "ECONNREFUSED") {
		t.Errorf("%v\n%s", err, out)
	}
	left, err := os.ReadDir(cache)
	must(t, err)
	if len(left) > 0 {
		t.Errorf("left in the cache: %v", left)
	}
}
