package logbook

import (
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
)

// formatChapter is the chapter of the project's pages on the format.
func formatChapter(t *testing.T) string {
	t.Helper()
	page, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, chapter, _ := strings.Cut("\n"+string(page), "\n# The logbook\n")
	chapter, _, _ = strings.Cut(chapter, "\n# ")
	return chapter
}

// The pages list the columns as they are written, no more and no fewer, with
// their types and in their order.
func TestPagesListTheColumns(t *testing.T) {
	var documented []string
	for _, line := range strings.Split(formatChapter(t), "\n") {
		if cells := strings.Split(line, "|"); len(cells) == 5 {
			documented = append(documented, strings.TrimSpace(cells[1])+" "+strings.TrimSpace(cells[2]))
		}
	}
	var tables [][]string
	for _, row := range documented {
		switch {
		case row == "column type":
			tables = append(tables, nil)
		case strings.HasPrefix(row, "`"):
			tables[len(tables)-1] = append(tables[len(tables)-1], row)
		}
	}
	if len(tables) != 2 {
		t.Fatalf("%d tables of columns, want those of two files", len(tables))
	}
	for i, schema := range []*parquet.Schema{fileSchema, chunkSchema} {
		var want []string
		for _, path := range schema.Columns() {
			leaf, _ := schema.Lookup(path...)
			name := strings.Replace(strings.Join(path, "."), ".list.element.", ".", 1)
			want = append(want, "`"+name+"` "+typeName(leaf.Node.Type()))
		}
		if !reflect.DeepEqual(tables[i], want) {
			t.Errorf("columns in the pages:\n%q\nas written:\n%q", tables[i], want)
		}
	}
}

func typeName(t parquet.Type) string {
	switch s := t.String(); {
	case s == "STRING":
		return "string"
	case t.Kind() == parquet.ByteArray:
		return "binary"
	case t.Kind() == parquet.FixedLenByteArray:
		return fmt.Sprintf("binary(%d)", t.Length())
	case strings.HasPrefix(s, "INT(") && strings.HasSuffix(s, ",false)"):
		return "u" + strings.ToLower(t.Kind().String())
	default:
		return strings.ToLower(t.Kind().String())
	}
}

// … and every field of a segment's summary. Those of the figures are named by
// the commands that show them.
func TestPagesListTheSummary(t *testing.T) {
	chapter := formatChapter(t)
	var look func(reflect.Type)
	look = func(s reflect.Type) {
		switch s.Kind() {
		case reflect.Pointer, reflect.Slice:
			look(s.Elem())
			return
		case reflect.Struct:
		default:
			return
		}
		if s == reflect.TypeFor[Figures]() {
			return
		}
		for i := range s.NumField() {
			f := s.Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			if name != "" && !strings.Contains(chapter, "`"+name+"`") {
				t.Errorf("the pages do not name `%s` of %s", name, s)
			}
			if f.Type.PkgPath() == s.PkgPath() || f.Type.Kind() != reflect.Struct {
				look(f.Type)
			}
		}
	}
	look(reflect.TypeFor[segmentFile]())
	if !strings.Contains(chapter, "`"+strings.Trim(sealName, `,":`)+"`") {
		t.Errorf("the pages do not name %s", sealName)
	}
}
