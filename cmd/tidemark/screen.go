package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"tidemark/report/render"
)

// usualColumns is the width of a page where nothing says how wide a line may be.
const usualColumns = 92

// console is a terminal, to which text is fitted.
type console struct{ *os.File }

// Columns is the width of the terminal's lines; 0: it does not say.
func (s console) Columns() int {
	if n, _, err := term.GetSize(int(s.Fd())); err == nil {
		return n
	}
	return 0
}

// onScreen is w, as a screen where it is one.
func onScreen(w io.Writer) io.Writer {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return console{f}
	}
	return w
}

// columnsOf is how wide a line for w may be; 0: as wide as it likes.
func columnsOf(w io.Writer) int {
	if s, ok := w.(render.Screen); ok {
		return s.Columns()
	}
	return 0
}

// fitHelp sets the commands' help to the width of the screen that it is read on: its
// paragraphs are written in lines of their own, and options have long descriptions.
func fitHelp(root *cobra.Command, columns int) {
	if columns <= 0 || columns > usualColumns {
		columns = usualColumns
	}
	asWritten := root.HelpFunc()
	root.SetHelpFunc(func(cmd *cobra.Command, args []string) {
		long := cmd.Long
		cmd.Long = flowed(long, columns)
		asWritten(cmd, args)
		cmd.Long = long
	})
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages", fmt.Sprintf(".FlagUsagesWrapped %d", columns)))
}

// flowed breaks paragraphs anew. What is set in is no running text.
func flowed(text string, columns int) string {
	paragraphs := strings.Split(text, "\n\n")
	for i, p := range paragraphs {
		if !strings.HasPrefix(p, " ") && !strings.Contains(p, "\n ") {
			paragraphs[i] = render.Fold(strings.ReplaceAll(p, "\n", " "), "", columns)
		}
	}
	return strings.Join(paragraphs, "\n\n")
}
