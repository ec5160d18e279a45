package render

import (
	"io"
	"strings"

	"tidemark/report/view"
)

// TourText prints the page that walks a reader through the example.
func TourText(w io.Writer, v *view.Tour) error {
	p := &page{}
	p.paragraph("", v.Answer)
	for _, s := range v.Steps {
		p.line("")
		p.line("%d. %s", s.Number, s.Question)
		for i := range s.Parts {
			tourPart(p, v, &s.Parts[i])
		}
	}
	p.line("\nWhat lies where")
	for _, r := range [][2]string{
		{"the logbook", v.Paths.Logbook}, {"what was really done", v.Paths.Truth}, {"needs file", v.Paths.Needs}, {"report", v.Paths.Report},
	} {
		if r[1] != "" {
			p.line("  %-21s %s", r[0], name(r[1]))
		}
	}
	for _, d := range v.Paths.Data {
		p.line("  %-21s %s", "data, as they are now", name(d))
	}
	p.line("")
	p.paragraph("  ", v.Took())
	p.notes(v.Notes)
	return p.flush(w)
}

func tourPart(p *page, v *view.Tour, t *view.TourPart) {
	p.line("")
	if len(t.Arguments) > 0 {
		done := ""
		if t.Done {
			done = "   (done)"
		}
		p.line("   $ %s%s", CommandLine(t.Arguments), done)
	}
	tourWords(p, t.Says)
	if len(t.Ladder) > 0 {
		ladder(p, v.Units, t.Ladder, t.Whole)
	}
	if t.Table != nil {
		out := table{head: t.Table.Head, rows: t.Table.Rows}
		out.print(p, "   "+t.Table.Title)
	}
	if len(t.After) > 0 {
		p.line("")
	}
	tourWords(p, t.After)
}

// tourWords prints paragraphs; those that begin with a dot are items of a list.
func tourWords(p *page, words []string) {
	for _, s := range words {
		if item, is := strings.CutPrefix(s, "· "); is {
			p.paragraph("   · ", item)
			continue
		}
		p.paragraph("   ", s)
	}
}

// CommandLine is a command as a person would type it in a shell: arguments with
// anything but the plainest characters are quoted.
func CommandLine(arguments []string) string {
	words := []string{"tidemark"}
	for _, a := range arguments {
		if a == "" || strings.ContainsFunc(a, func(r rune) bool {
			return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_=./:,+@%\\", r)
		}) {
			a = "'" + strings.ReplaceAll(name(a), "'", `'\''`) + "'"
		}
		words = append(words, a)
	}
	return strings.Join(words, " ")
}
