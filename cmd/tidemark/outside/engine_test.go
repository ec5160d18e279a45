package outside

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The outside engine: DuckDB, by its client for Node.js.
const (
	enginePackage = "@duckdb/node-api"
	engineVersion = "1.5.6-r.1"
)

const queryDir = "../../../scan/logbook/queries"

// engine is the folder of the engine's package.
func engine(t *testing.T) string {
	t.Helper()
	return cached(t, "duckdb-"+engineVersion, func(dir string) (string, error) {
		return dir, npm(dir, "install", "--no-save", "--prefix", dir, enginePackage+"@"+engineVersion)
	})
}

type row = map[string]any

// ask runs documented queries over one logbook, or several: logbooks is a
// folder or a pattern. The answer is by query, without ".sql".
func ask(t *testing.T, logbooks string, queries ...string) map[string][]row {
	t.Helper()
	node, err := exec.LookPath("node")
	if err != nil {
		missing(t, errors.New("there is no node in PATH; install Node.js"))
	}
	file := func(name string) string {
		path, err := filepath.Abs(filepath.Join(queryDir, name+".sql"))
		must(t, err)
		return path
	}
	job := map[string]any{"modules": engine(t), "logbooks": filepath.ToSlash(logbooks), "first": []string{file("tables"), file("recipes")}}
	var files []string
	for _, q := range queries {
		files = append(files, file(q))
	}
	job["queries"] = files
	input, err := json.Marshal(job)
	must(t, err)
	cmd := exec.Command(node, "testdata/duckdb.cjs")
	var stdout, stderr bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(input), &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("the queries: %v: %s", err, stderr.String())
	}
	var byFile map[string][]row
	d := json.NewDecoder(&stdout)
	d.UseNumber()
	must(t, d.Decode(&byFile))
	out := map[string][]row{}
	for path, rows := range byFile {
		out[strings.TrimSuffix(filepath.Base(path), ".sql")] = rows
	}
	if len(out) != len(queries) {
		t.Fatalf("%d answers to %d queries", len(out), len(queries))
	}
	return out
}

// text is a value of a row; 64-bit numbers come as strings.
func text(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	case nil:
		return "null"
	}
	data, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(data)
}

// blobText is how the engine shows raw bytes as text.
func blobText(s string) string {
	var out strings.Builder
	for _, c := range []byte(s) {
		if c < ' ' || c > '~' || c == '\\' || c == '\'' || c == '"' {
			const hex = "0123456789ABCDEF"
			out.WriteString(`\x`)
			out.WriteByte(hex[c>>4])
			out.WriteByte(hex[c&15])
			continue
		}
		out.WriteByte(c)
	}
	return out.String()
}

// Every query of the folder is one that a test runs, and the pages name it and
// quote it as it stands in its file.
func TestPagesShowTheQueriesThatRun(t *testing.T) {
	page, err := os.ReadFile("../../../DEVELOPERS.md")
	must(t, err)
	files, err := filepath.Glob(queryDir + "/*.sql")
	must(t, err)
	quoted := map[string]bool{}
	for i, block := range strings.Split(string(page), "```sql\n") {
		if i == 0 {
			continue
		}
		block, _, _ = strings.Cut(block, "```")
		quoted[block] = true
	}
	if len(quoted) == 0 {
		t.Error("DEVELOPERS.md quotes no query")
	}
	run := map[string]bool{"tables": true, "recipes": true}
	for _, q := range allQueries {
		run[q] = true
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		must(t, err)
		delete(quoted, string(data))
		name := strings.TrimSuffix(filepath.Base(file), ".sql")
		if !bytes.Contains(page, []byte(name+".sql")) {
			t.Errorf("DEVELOPERS.md does not name %s.sql", name)
		}
		if !run[name] {
			t.Errorf("no test runs %s.sql", name)
		}
		delete(run, name)
	}
	for name := range run {
		t.Errorf("%s.sql is not there", name)
	}
	for block := range quoted {
		t.Errorf("DEVELOPERS.md quotes SQL that is in no file:\n%s", block)
	}
}

// nightQueries are those that compare looks at.
var nightQueries = []string{"unique", "explain", "explain_folders", "new", "new_folders", "recorded"}

var allQueries = append([]string{"common", "union"}, nightQueries...)
