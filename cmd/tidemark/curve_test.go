package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// The machine output of the commands about other sizes, engines and places, with
// and without measured compression, at the baseline and after a night.
func TestOtherSizesKeepTheContract(t *testing.T) {
	for _, compress := range []string{"all", "off"} {
		t.Run(compress, func(t *testing.T) {
			tree := filepath.Join(t.TempDir(), "share")
			t.Setenv("TIDEMARK_LOGBOOK", filepath.Join(t.TempDir(), "book"))
			write(t, filepath.Join(tree, "work/letter.txt"), strings.Repeat("Dear customer, the doors are ready.\n", 3000))
			write(t, filepath.Join(tree, "old/letter.txt"), strings.Repeat("Dear customer, the doors are ready.\n", 3000))
			answerOf(t, exitDone, "scan", "--json", "--average", "4KiB", "--compress", compress, tree)
			check := func() {
				for name, args := range map[string][]string{
					"curve": {"curve"}, "whatif": {"whatif", "--leave-out", "old/", "--retention", "last=1"},
					"profiles": {"profiles"}, "overlap": {"overlap", "share/work", "share/old"}, "churn": {"churn"},
				} {
					if name == "churn" && len(answerOf(t, exitDone, "explain", "--json")["by_folder"].([]any)) < 3 {
						continue // at the baseline there is none
					}
					v := answerOf(t, exitDone, append(args, "--json")...)
					if v["schema"] != "tidemark."+name+"/1" {
						t.Errorf("%s: schema %v", name, v["schema"])
					}
					wellFormed(t, name, v)
					switch name {
					case "curve":
						promised(t, name, v, []string{
							"points list", "points[].method string", "points[].average_bytes integer?", "points[].mean_bytes integer?", "points[].unique_bytes integer",
							"points[].compressed_bytes integer?", "points[].overhead_bytes integer", "points[].stored_bytes integer?", "points[].new_bytes integer?", "points[].note string",
						})
					case "whatif":
						promised(t, name, v, []string{"before object", "after object", "saved_bytes integer?", "saved_nightly_bytes integer?"})
					}
				}
			}
			check()
			write(t, filepath.Join(tree, "new/windows.txt"), strings.Repeat("The windows are not.\n", 9000))
			answerOf(t, exitDone, "scan", "--json", "--compress", compress)
			check()
		})
	}
}
