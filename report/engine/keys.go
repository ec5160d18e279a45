package engine

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// survey walks the document against the structs of file.go. It notes on which
// line each key stands, as "lines[0].limits[1].from", so that checks of values
// can name it; and it finds the first key that does not exist or holds the wrong
// type of value. The decoder would find those too, but says so in terms of Go.
type survey struct {
	parser unstable.Parser
	name   string
	rows   map[string]int
	counts map[string]int // elements of an array of tables so far
}

// surveyed wants a document that parses.
func surveyed(document []byte, name string) (rows map[string]int, err error) {
	s := &survey{name: name, rows: map[string]int{}, counts: map[string]int{}}
	s.parser.Reset(document)
	base, at := "", reflect.TypeFor[file]()
	for s.parser.NextExpression() {
		node := s.parser.Expression()
		switch node.Kind {
		case unstable.Table, unstable.ArrayTable:
			base, at, err = s.table(node)
		case unstable.KeyValue:
			err = s.keyValue(node, base, at)
		}
		if err != nil {
			return nil, err
		}
	}
	return s.rows, s.parser.Error()
}

// table resolves a [header] or [[header]] from the top.
func (s *survey) table(node *unstable.Node) (path string, at reflect.Type, err error) {
	at = reflect.TypeFor[file]()
	for keys := node.Key(); keys.Next(); {
		key := keys.Node()
		if path, at, err = s.enter(path, at, key); err != nil {
			return "", nil, err
		}
		if at.Kind() == reflect.Slice && at.Elem().Kind() == reflect.Struct {
			if node.Kind == unstable.ArrayTable && keys.IsLast() || s.counts[path] == 0 {
				s.counts[path]++
			}
			path, at = fmt.Sprintf("%s[%d]", path, s.counts[path]-1), at.Elem()
		} else if node.Kind == unstable.ArrayTable && keys.IsLast() {
			return "", nil, s.wrong(key, path, at, "[[ ]]")
		}
		if at.Kind() != reflect.Struct || at == reflect.TypeFor[toml.LocalDate]() {
			return "", nil, s.wrong(key, path, at, "a table")
		}
		s.rows[path] = s.row(key)
	}
	return path, at, nil
}

func (s *survey) keyValue(node *unstable.Node, path string, at reflect.Type) (err error) {
	var key *unstable.Node
	for keys := node.Key(); keys.Next(); {
		if key != nil { // a dotted key: what stands before the dot is a table
			if at.Kind() != reflect.Struct || at == reflect.TypeFor[toml.LocalDate]() {
				return s.wrong(key, path, at, "a table")
			}
		}
		key = keys.Node()
		if path, at, err = s.enter(path, at, key); err != nil {
			return err
		}
	}
	return s.value(key, node.Value(), path, at)
}

// enter steps from a table to one of its keys.
func (s *survey) enter(path string, at reflect.Type, key *unstable.Node) (string, reflect.Type, error) {
	text := string(key.Data)
	for i := range at.NumField() {
		if field := at.Field(i); field.Tag.Get("toml") == text {
			if path != "" {
				path += "."
			}
			path += text
			s.rows[path] = s.row(key)
			t := field.Type
			if t.Kind() == reflect.Pointer {
				t = t.Elem()
			}
			return path, t, nil
		}
	}
	return "", nil, &FileError{Name: s.name, Line: s.row(key), Key: path, Problem: unknownKey(text, at)}
}

func (s *survey) value(key, value *unstable.Node, path string, at reflect.Type) error {
	switch {
	case at == reflect.TypeFor[toml.LocalDate]():
		if value.Kind != unstable.LocalDate {
			return s.wrong(key, path, at, words(value.Kind))
		}
	case at.Kind() == reflect.Struct:
		if value.Kind != unstable.InlineTable {
			return s.wrong(key, path, at, words(value.Kind))
		}
		for children := value.Children(); children.Next(); {
			if err := s.keyValue(children.Node(), path, at); err != nil {
				return err
			}
		}
	case at.Kind() == reflect.Slice:
		if value.Kind != unstable.Array {
			return s.wrong(key, path, at, words(value.Kind))
		}
		i := 0
		for children := value.Children(); children.Next(); i++ {
			element := fmt.Sprintf("%s[%d]", path, i)
			s.rows[element] = s.row(key)
			if err := s.value(key, children.Node(), element, at.Elem()); err != nil {
				return err
			}
		}
	default:
		if !fits(value.Kind, at.Kind()) {
			return s.wrong(key, path, at, words(value.Kind))
		}
	}
	return nil
}

func fits(got unstable.Kind, want reflect.Kind) bool {
	switch want {
	case reflect.String:
		return got == unstable.String
	case reflect.Bool:
		return got == unstable.Bool
	case reflect.Int64:
		return got == unstable.Integer
	case reflect.Float64:
		return got == unstable.Float || got == unstable.Integer
	}
	return false
}

func (s *survey) row(key *unstable.Node) int {
	return 1 + bytes.Count(s.parser.Data()[:key.Raw.Offset], []byte{'\n'})
}

func (s *survey) wrong(key *unstable.Node, path string, want reflect.Type, got string) error {
	return &FileError{Name: s.name, Line: s.row(key), Key: path, Problem: fmt.Sprintf("is %s: write %s", got, wanted(path, want))}
}

// wanted says what a key takes.
func wanted(path string, t reflect.Type) string {
	switch {
	case t == reflect.TypeFor[toml.LocalDate]():
		return "a date such as 2029-12-31, without quotes"
	case t.Kind() == reflect.Struct:
		return fmt.Sprintf("a table, [%s]", withoutIndex(path))
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct:
		return fmt.Sprintf("a table for each, [[%s]]", withoutIndex(path))
	case t.Kind() == reflect.Slice:
		return `a list of texts such as ["mon", "fri"]`
	case t.Kind() == reflect.String && (strings.HasSuffix(path, ".from") || strings.HasSuffix(path, ".to")):
		return `a time such as "07:00", in quotes`
	case t.Kind() == reflect.String:
		return "text in quotes"
	case t.Kind() == reflect.Bool:
		return "true or false"
	case t.Kind() == reflect.Int64:
		return "a whole number, without quotes"
	}
	return "a number, without quotes"
}

// words for what a value is in the file.
func words(k unstable.Kind) string {
	switch k {
	case unstable.String:
		return "text"
	case unstable.Bool:
		return "true or false"
	case unstable.Float:
		return "a number with a fraction"
	case unstable.Integer:
		return "a whole number"
	case unstable.Array:
		return "a list"
	case unstable.InlineTable:
		return "a table"
	case unstable.LocalTime:
		return "a time of day without quotes"
	}
	return "a date"
}

func withoutIndex(path string) string {
	var b strings.Builder
	inside := false
	for _, r := range path {
		switch {
		case r == '[':
			inside = true
		case r == ']':
			inside = false
		case !inside:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// unknownKey names the key that was probably meant, or all there are.
func unknownKey(text string, at reflect.Type) string {
	var keys []string
	best, least := "", 0
	for i := range at.NumField() {
		key := at.Field(i).Tag.Get("toml")
		keys = append(keys, key)
		if d := editDistance(strings.ToLower(text), key); best == "" || d < least {
			best, least = key, d
		}
	}
	if least <= 1+len(best)/3 {
		return fmt.Sprintf("unknown key %q: did you mean %s?", shortened(text), best)
	}
	slices.Sort(keys)
	return fmt.Sprintf("unknown key %q: there are %s", shortened(text), strings.Join(keys, ", "))
}

// shortened keeps error lines short whatever the file holds.
func shortened(text string) string {
	const most = 40
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + "…"
	}
	return text
}

// editDistance is Levenshtein's: how many letters to insert, delete or replace.
// A text longer than any key is cut, which can only make it look closer to none.
func editDistance(a, b string) int {
	if len(a) > 64 {
		a = a[:64]
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replace := diagonal
			if a[i] != b[j] {
				replace++
			}
			diagonal = row[j+1]
			row[j+1] = min(replace, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
