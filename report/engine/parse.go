package engine

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// FileError says what is wrong in a needs file. Its one line names the file,
// the line and the key, then what would be right.
type FileError struct {
	Name    string // of the file, as it was given
	Line    int    // from 1; 0: no one line is to blame
	Key     string // such as "lines[0].up_mbit"; "": none is to blame
	Problem string
}

func (e *FileError) Error() string {
	text := printable(e.Name)
	if e.Line > 0 {
		text += ":" + strconv.Itoa(e.Line)
	}
	text += ": "
	if e.Key != "" {
		text += e.Key + ": "
	}
	return text + printable(e.Problem)
}

// printable keeps control characters of the file out of the terminal.
func printable(text string) string {
	var b strings.Builder
	for _, r := range text {
		if strconv.IsPrint(r) {
			b.WriteRune(r)
		} else {
			b.WriteString(strings.Trim(strconv.QuoteRune(r), "'"))
		}
	}
	return b.String()
}

// mostBytes of a needs file: more is some other file, or a device without end.
const mostBytes = 1 << 20

// Parse reads and checks a needs file: TOML of at most 1 MiB. Every key is
// optional, so an empty file is fine and equals Default. name stands for the file
// in errors, which are *FileError; one that reading r gives is wrapped as it is.
func Parse(r io.Reader, name string) (*Needs, error) {
	document, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: reading the needs file: %w", printable(name), err)
	}
	if len(document) > mostBytes {
		return nil, &FileError{Name: name, Problem: "is larger than 1 MiB: that is no needs file; `tidemark estimate --example` prints one"}
	}
	document = bytes.TrimPrefix(document, []byte("\ufeff")) // some editors write a byte order mark
	// Syntax first, into nothing in particular: its errors name line and reason well.
	if err := toml.Unmarshal(document, new(map[string]any)); err != nil {
		return nil, syntaxError(name, err)
	}
	rows, err := surveyed(document, name)
	if err != nil {
		return nil, asFileError(name, err)
	}
	var f file
	if err := toml.NewDecoder(bytes.NewReader(document)).DisallowUnknownFields().Decode(&f); err != nil {
		return nil, syntaxError(name, err)
	}
	c := &checker{name: name, rows: rows}
	needs := c.needs(&f)
	if c.first != nil {
		return nil, c.first
	}
	return needs, nil
}

// ParseFile is Parse of the file at path. An error of opening or reading it is
// wrapped and names the path.
func ParseFile(path string) (*Needs, error) {
	f, err := os.Open(path)
	if err != nil {
		var pathError *os.PathError
		if errors.As(err, &pathError) {
			err = pathError.Err
		}
		return nil, fmt.Errorf("%s: opening the needs file: %w; `tidemark estimate --example` prints one", printable(path), err)
	}
	defer f.Close()
	return Parse(f, path)
}

// Default is the needs of an empty file: no lines, no plans, no profile; the
// rest as assumed.
func Default() *Needs {
	c := &checker{}
	return c.needs(&file{})
}

// syntaxError puts the decoder's reason in our form.
func syntaxError(name string, err error) error {
	e := &FileError{Name: name}
	var at *toml.DecodeError
	var strict *toml.StrictMissingError
	switch {
	case errors.As(err, &strict) && len(strict.Errors) > 0:
		at = &strict.Errors[0]
	case !errors.As(err, &at):
		e.Problem = strings.TrimPrefix(err.Error(), "toml: ")
		return e
	}
	e.Line, _ = at.Position()
	e.Problem = "is not TOML: " + strings.TrimPrefix(at.Error(), "toml: ")
	if strings.Contains(e.Problem, "strconv") || strings.Contains(e.Problem, "too large to fit") {
		e.Problem = "the number is out of range"
	}
	return e
}

func asFileError(name string, err error) error {
	var e *FileError
	if errors.As(err, &e) {
		return e
	}
	return &FileError{Name: name, Problem: "is not TOML: " + err.Error()}
}
