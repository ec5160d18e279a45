package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// licences by what their texts say.
var licences = []struct {
	name string
	says *regexp.Regexp
}{
	{"Apache-2.0", regexp.MustCompile(`Apache License,? Version 2\.0`)},
	{"MIT", regexp.MustCompile(`Permission is hereby granted, free of charge`)},
	{"BSD-3-Clause", regexp.MustCompile(`Redistribution and use in source and binary forms.*(?:[Nn]either the name|names? of its contributors)`)},
	{"BSD-2-Clause", regexp.MustCompile(`Redistribution and use in source and binary forms`)},
	{"CC0-1.0", regexp.MustCompile(`CC0 1\.0 Universal`)},
	{"MPL-2.0", regexp.MustCompile(`Mozilla Public License Version 2\.0`)},
	{"FTL", regexp.MustCompile(`The FreeType License`)},
	{"CC-BY-4.0", regexp.MustCompile(`Creative Commons Attribution 4\.0 International`)},
}

// licenceOf names the licence of a module by the text that lies in it.
func licenceOf(t *testing.T, dir string) string {
	t.Helper()
	for _, pattern := range []string{"LICENSE", "LICENSE.txt", "LICENSE.md", "COPYING"} {
		text, err := os.ReadFile(filepath.Join(dir, pattern))
		if err != nil {
			continue
		}
		words := strings.Join(strings.Fields(string(text)), " ")
		// Texts of what was taken from elsewhere follow the module's own.
		name, first := "", len(words)
		for _, l := range licences {
			if at := l.says.FindStringIndex(words); at != nil && at[0] < first {
				name, first = l.name, at[0]
			}
		}
		return name
	}
	return ""
}

type moduleFact struct {
	Path, Version, Dir string
	Main, Indirect     bool
}

func goList(t *testing.T, args ...string) []byte {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list"}, args...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Every module that go.mod names directly, and every one that is built into the
// program, stands in DEVELOPERS.md with the licence that its own text says and a
// reason; and nothing stands there that is not used.
func TestDependenciesAreListed(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	type row struct{ licence, reason string }
	listed := map[string]row{}
	_, table, _ := strings.Cut(string(text), "\n## Dependencies\n")
	for _, m := range regexp.MustCompile("(?m)^\\| `([^`]+)` \\| ([^|]+) \\| ([^|]+) \\|$").FindAllStringSubmatch(table, -1) {
		listed[m[1]] = row{strings.TrimSpace(m[2]), strings.TrimSpace(m[3])}
	}
	needed := map[string]bool{}
	for _, line := range strings.Fields(string(goList(t, "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}{{end}}{{end}}", "."))) {
		needed[line] = true
	}
	modules := json.NewDecoder(strings.NewReader(string(goList(t, "-m", "-json", "all"))))
	known := map[string]bool{}
	mod, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	for {
		var m moduleFact
		if err := modules.Decode(&m); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if m.Main || !needed[m.Path] && (m.Indirect || !strings.Contains(string(mod), "\t"+m.Path+" ")) {
			continue
		}
		known[m.Path] = true
		r, there := listed[m.Path]
		if !there {
			t.Errorf("DEVELOPERS.md does not list %s", m.Path)
			continue
		}
		if r.reason == "" {
			t.Errorf("DEVELOPERS.md gives no reason for %s", m.Path)
		}
		if is := licenceOf(t, m.Dir); is == "" || is != r.licence {
			t.Errorf("%s: the licence in the module is %q, DEVELOPERS.md says %q", m.Path, is, r.licence)
		}
	}
	for path := range listed {
		if !known[path] {
			t.Errorf("DEVELOPERS.md lists %s, which is not used", path)
		}
	}
	if len(known) < 20 {
		t.Fatal(fmt.Sprint("only these modules were seen: ", known))
	}
}

// The program says which commit it was built from when the build tells it.
func TestVersionNamesItsCommit(t *testing.T) {
	was, wasCommit := version, commit
	t.Cleanup(func() { version, commit = was, wasCommit })
	version, commit = "v1.2.3", "0123456789abcdef"
	code, stdout, _ := tidemark(t, "--version")
	if code != exitDone || !strings.HasPrefix(stdout, "tidemark v1.2.3, commit 0123456789abcdef, go1.") {
		t.Errorf("%d %q", code, stdout)
	}
	// What a scan records is what the program is called, for good.
	if versionName() != "v1.2.3" {
		t.Error(versionName())
	}
}
