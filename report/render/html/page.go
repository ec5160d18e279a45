// Package html renders the report as one page: no script, nothing loaded from
// elsewhere, and a policy in its head that lets a browser load nothing even if a
// name got in as markup. Names reach it through html/template, or through the
// charts' own escaping.
package html

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"html/template"
	"io"
	"regexp"
	"strings"

	"tidemark/report/render/html/chart"
	"tidemark/report/view"
)

var (
	//go:embed page.tmpl
	pageText string
	//go:embed style.css
	styleText string

	pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
		// A path may be broken behind its slashes.
		"parts": func(path string) []string { return strings.Split(path, "/") },
		"tie":   tie,
	}).Parse(pageText))
	style     = string(squeeze([]byte(styleText))) // as it stands in the page: the hash is of every byte
	styleHash = hashOf(style)
)

// hashOf is the source expression by which a content security policy knows a
// style sheet.
func hashOf(style string) string {
	sum := sha256.Sum256([]byte(style))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// Report writes the page.
func Report(w io.Writer, v *view.Report) error {
	var out bytes.Buffer
	if err := pageTemplate.Execute(&out, pageOf(v)); err != nil {
		return err
	}
	_, err := w.Write(squeeze(out.Bytes()))
	return err
}

// squeeze takes the empty lines out that the template leaves.
func squeeze(page []byte) []byte {
	lines := bytes.Split(page, []byte("\n"))
	kept := lines[:0]
	for _, l := range lines {
		if len(bytes.TrimSpace(l)) > 0 {
			kept = append(kept, l)
		}
	}
	return append(bytes.Join(kept, []byte("\n")), '\n')
}

// page is what the template shows.
type page struct {
	Title, Kind, Span, Foot string
	Style                   template.CSS
	StyleHash               string
	Answer                  []string
	Figures                 []figure
	Sections                []section
}

// figure is a number to be seen at a glance.
type figure struct{ Words, Value string }

type section struct {
	ID, Title string
	Lead      []string
	Missing   string // what could not be answered, and how it can be
	Blocks    []block
	Notes     []string
}

// block is a part of a section; what is empty is not shown.
type block struct {
	Heading   string
	Text      []string
	Chart     *picture
	Marks     []mark
	Table     *table
	Fixes     []fix
	CareTitle string
	Care      []string
	Notes     []string
}

// picture is a chart with its twin in words.
type picture struct {
	ID, Caption, Sub string
	Wide, Narrow     template.HTML
	Key              []key
	Table            table
}

type key struct {
	Ink   chart.Ink
	Words string
}

type mark struct{ Mark, Words string }

type fix struct{ Suggestion, Saves, More, Evidence, Check string }

type table struct {
	Caption, Summary string
	Head             []cell
	Rows             []row
}

type row struct {
	Cells []cell
	Sum   bool
}

type cell struct {
	Text, Sub string
	Class     string // "num", "least": not on a phone
	Head      bool
	IsBar     bool
	Bar       string // 0 to 100
	Ink       chart.Ink
}

// draw makes a picture in both sizes.
func draw(id, caption, sub string, twin table, drawn func(s chart.Size, by string) string) *picture {
	if twin.Summary == "" {
		twin.Summary = "The picture as a table"
	}
	return &picture{
		ID: id, Caption: caption, Sub: sub, Table: twin,
		// The chart package escapes every text that it writes.
		Wide:   template.HTML(drawn(chart.Wide, id+"-c")),
		Narrow: template.HTML(drawn(chart.Narrow, id+"-c")),
	}
}

// Cells of tables.

func name(text string) cell         { return cell{Text: text, Head: true} }
func words(text string) cell        { return cell{Text: text} }
func num(text string) cell          { return cell{Text: together(text), Class: "num"} }
func least(c cell) cell             { c.Class += " least"; return c }
func head(texts ...cell) []cell     { return texts }
func under(c cell, sub string) cell { c.Sub = sub; return c }
func cells(list ...cell) row        { return row{Cells: list} }

// bar draws part of the longest bar; words say what it stands for.
func bar(part float64, words string) cell {
	return cell{IsBar: true, Class: "bar", Bar: percent(part), Ink: chart.Main, Text: words}
}

// tied is what running text must not break in: a number and its unit, a date, a time
// and its offset.
var tied = regexp.MustCompile(`[0-9]+-[0-9]{2}-[0-9]{2}\b|[0-9]{2}:[0-9]{2} [+-][0-9]{2}:[0-9]{2}|[0-9] (?:[kKMGTPE]?i?B\b|[kMG]?bit/s|%|m?s\b|min\b|h\b|d\b)`)

// tie escapes running text, and keeps together what belongs together.
func tie(text string) template.HTML {
	var b strings.Builder
	at := 0
	for _, m := range tied.FindAllStringIndex(text, -1) {
		b.WriteString(template.HTMLEscapeString(text[at:m[0]]))
		b.WriteString(`<span class="tie">` + template.HTMLEscapeString(text[m[0]:m[1]]) + `</span>`)
		at = m[1]
	}
	return template.HTML(b.String() + template.HTMLEscapeString(text[at:]))
}

var numberUnit = regexp.MustCompile(`([0-9]) ([^ 0-9])`)

// together keeps a number and its unit on one line.
func together(text string) string {
	return strings.ReplaceAll(numberUnit.ReplaceAllString(text, "$1\u00a0$2"), "\u00a0to ", " to ")
}

// Bars says whether the table has a column of bars.
func (t table) Bars() bool {
	for _, c := range t.Head {
		if c.Class == "bar" {
			return true
		}
	}
	return false
}
