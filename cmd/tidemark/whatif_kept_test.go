package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// What a retention holds is one figure in whatif and estimate, also where the
// parts of some nights had none in the sample that was compressed.
func TestWhatIfKeepsWhatEstimateSays(t *testing.T) {
	book := joinery(t, 9, "sample")
	needs := filepath.Join(t.TempDir(), "needs.toml")
	write(t, needs, "zone = \"Europe/Berlin\"\n[retention]\ndaily = 7\nweekly = 4\n[[lines]]\nname = \"copper\"\nup_mbit = 2\n")
	said := answerOf(t, exitDone, "estimate", "--json", "--logbook", book, "--needs", needs)
	want := said["keep"].(map[string]any)["now_bytes"]
	if n, ok := number64(want); !ok || n <= 0 {
		t.Fatalf("estimate says %v", want)
	}
	got := answerOf(t, exitDone, "whatif", "--json", "--logbook", book, "--retention", "daily=7,weekly=4")
	after := got["after"].(map[string]any)
	if after["kept_bytes"] != want {
		t.Errorf("whatif keeps %v, estimate %v", after["kept_bytes"], want)
	}
	if plain, _ := number64(after["kept_plain_bytes"]); plain <= 0 {
		t.Error("every part had one like it in the sample: the test shows nothing")
	}
	code, text, stderr := tidemark(t, "whatif", "--logbook", book, "--retention", "daily=7,weekly=4")
	if code != exitDone {
		t.Fatal(stderr)
	}
	for _, has := range []string{"= kept under the retention", "counts uncompressed, here and in tidemark estimate"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), has) {
			t.Errorf("%q is missing in\n%s", has, text)
		}
	}
	if strings.Contains(text, "was not measured") {
		t.Error(text)
	}
}
