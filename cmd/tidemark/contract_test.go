package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What the published contract of the machine output promises, written down from
// its page: field, then type. A "?" allows null with a reason beside it. Further
// fields are free.
var contract = map[string][]string{
	"scan": {
		"snapshot integer", "taken time", "started time", "baseline bool", "partial bool",
		"method.name string", "method.average_bytes integer", "method.min_bytes integer", "method.max_bytes integer",
		"coverage.files integer", "coverage.apparent_bytes integer", "coverage.unread_files integer", "coverage.unread_bytes integer",
		"coverage.torn_files integer", "coverage.skipped_files integer", "coverage.covered_share share",
		"work.read_files integer", "work.read_bytes integer", "work.reused_files integer", "work.reused_bytes integer", "work.elapsed_seconds number",
		"explain object", "change object?", "warnings list", "warnings[].path string", "warnings[].reason string",
	},
	"explain": {
		"snapshot integer", "apparent_bytes integer", "hardlink_bytes integer", "zero_bytes integer", "source_bytes integer",
		"duplicate_file_bytes integer", "duplicate_chunk_bytes integer", "unique_bytes integer", "unique_chunks integer",
		"compression_bytes integer?", "compressed_bytes integer?", "compressed_low_bytes integer?", "compressed_high_bytes integer?",
		"overhead_bytes integer", "stored_bytes integer?", "dedup_ratio number?", "compression_ratio number?", "reduction_ratio number?",
		"by_type list", "by_folder list",
	},
	"change": {
		"from integer", "to integer", "spanned integer", "touched_bytes integer", "touched_files integer", "changed_bytes integer",
		"changed_files integer", "new_bytes integer", "new_chunks integer", "new_compressed_bytes integer?", "upload_bytes integer?",
		"returning_bytes integer", "freed_bytes integer", "still_new_bytes integer",
		"causes list", "causes[].cause string", "causes[].files integer", "causes[].bytes integer", "causes[].new_bytes integer",
		"by_folder list", "by_type list", "top list",
	},
	"audit": {
		"segments integer", "damaged list", "damaged[].segment integer", "damaged[].file string", "damaged[].reason string",
	},
}

// promised checks an answer against a list of the contract.
func promised(t *testing.T, where string, v map[string]any, fields []string) {
	t.Helper()
	for _, f := range fields {
		path, kind, _ := strings.Cut(f, " ")
		if list, key, is := strings.Cut(path, "[]."); is {
			rows, _ := v[list].([]any)
			for _, row := range rows {
				checkKind(t, where+"."+path, row.(map[string]any), key, kind)
			}
			continue
		}
		at, key := v, path
		if object, inner, is := strings.Cut(path, "."); is {
			at, _ = v[object].(map[string]any)
			key = inner
		}
		checkKind(t, where+"."+path, at, key, kind)
	}
}

func checkKind(t *testing.T, where string, m map[string]any, key, kind string) {
	t.Helper()
	v, there := m[key]
	if !there {
		t.Errorf("%s is missing", where)
		return
	}
	if v == nil {
		if reason, _ := m[key+"_reason"].(string); !strings.HasSuffix(kind, "?") || reason == "" {
			t.Errorf("%s is null, reason %q", where, reason)
		}
		return
	}
	ok := false
	switch strings.TrimSuffix(kind, "?") {
	case "integer":
		_, ok = number64(v)
	case "number":
		_, ok = v.(json.Number)
	case "share":
		n, is := v.(json.Number)
		f, err := n.Float64()
		ok = is && err == nil && f >= 0 && f <= 1
	case "string":
		_, ok = v.(string)
	case "time":
		ok = isTime(v)
	case "bool":
		_, ok = v.(bool)
	case "object":
		_, ok = v.(map[string]any)
	case "list":
		_, ok = v.([]any)
	}
	if !ok {
		t.Errorf("%s is %v, no %s", where, v, kind)
	}
}

func isTime(v any) bool {
	text, is := v.(string)
	var m moment
	return is && m.Set(text) == nil
}

// units: names end in their unit, and no list is null, wherever it stands.
func wellFormed(t *testing.T, where string, v any) {
	t.Helper()
	switch v := v.(type) {
	case map[string]any:
		for key, x := range v {
			if n, is := x.(json.Number); is && strings.ContainsAny(n.String(), ".eE") &&
				key != "seconds" && !strings.HasSuffix(key, "_seconds") && !strings.HasSuffix(key, "_ratio") && !strings.HasSuffix(key, "_share") &&
				!strings.HasSuffix(key, "_cost") { // money, its currency beside it
				t.Errorf("%s.%s is %s, a fraction, and its name ends in no unit", where, key, n)
			}
			if x == nil {
				if reason, _ := v[key+"_reason"].(string); reason == "" {
					t.Errorf("%s.%s is null without a reason", where, key)
				}
			}
			wellFormed(t, where+"."+key, x)
		}
	case []any:
		for i, x := range v {
			wellFormed(t, fmt.Sprintf("%s[%d]", where, i), x)
		}
	}
}

func answerOf(t *testing.T, wantCode int, args ...string) map[string]any {
	t.Helper()
	code, stdout, stderr := tidemark(t, args...)
	if code != wantCode {
		t.Fatalf("%v: exit code %d, want %d: %s", args, code, wantCode, stderr)
	}
	d := json.NewDecoder(strings.NewReader(stdout))
	d.UseNumber()
	var v map[string]any
	if err := d.Decode(&v); err != nil {
		t.Fatalf("%v: %v in %q", args, err, stdout)
	}
	if d.More() {
		t.Fatalf("%v: more than one object on stdout", args)
	}
	return v
}

func write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestMachineOutputKeepsTheContract(t *testing.T) {
	for _, compress := range []string{"all", "off"} {
		t.Run(compress, func(t *testing.T) {
			tree, book := filepath.Join(t.TempDir(), "share"), filepath.Join(t.TempDir(), "book")
			t.Setenv("TIDEMARK_LOGBOOK", book)
			write(t, filepath.Join(tree, "work/letter.txt"), strings.Repeat("Dear customer, the doors are ready.\n", 3000))
			write(t, filepath.Join(tree, "old/letter.txt"), strings.Repeat("Dear customer, the doors are ready.\n", 3000))
			write(t, filepath.Join(tree, "notes"), "oak, ash, beech\n")
			first := answerOf(t, exitDone, "scan", "--json", "--compress", compress, tree)
			write(t, filepath.Join(tree, "work/new.txt"), strings.Repeat("The windows are not.\n", 500))
			if err := os.Remove(filepath.Join(tree, "notes")); err != nil {
				t.Fatal(err)
			}
			second := answerOf(t, exitDone, "scan", "--json", "--compress", compress)
			if first["change"] != nil || second["change"] == nil {
				t.Errorf("change is %v at the baseline and %v after it", first["change"], second["change"])
			}
			answers := map[string]map[string]any{
				"scan": second, "explain": answerOf(t, exitDone, "explain", "--json"),
				"change": answerOf(t, exitDone, "change", "--json"), "audit": answerOf(t, exitDone, "audit", "--json"),
			}
			for command, v := range answers {
				if v["schema"] != "tidemark."+command+"/1" {
					t.Errorf("%s: schema %v", command, v["schema"])
				}
				promised(t, command, v, contract[command])
				wellFormed(t, command, v)
				if command != "audit" {
					for _, wrong := range checkIdentities(v) {
						t.Errorf("%s: %s", command, wrong)
					}
				}
			}
			for _, v := range []map[string]any{first, second} {
				promised(t, "scan.explain", v["explain"].(map[string]any), contract["explain"])
				wellFormed(t, "scan", v)
			}
			promised(t, "scan.change", second["change"].(map[string]any), contract["change"])
			promised(t, "scan", first, contract["scan"])
		})
	}
}
