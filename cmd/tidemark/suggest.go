package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// firstWord is the first argument that is neither an option nor an option's
// value: the command that was meant.
func firstWord(root *cobra.Command, args []string) string {
	for i := 0; i < len(args); i++ {
		name, isFlag := strings.CutPrefix(args[i], "--")
		switch {
		case isFlag && !strings.Contains(name, "="):
			if f := root.PersistentFlags().Lookup(name); f != nil && f.NoOptDefVal == "" {
				i++ // its value
			}
		case !strings.HasPrefix(args[i], "-"):
			return args[i]
		}
	}
	return ""
}

func suggestCommand(root *cobra.Command, name string) string {
	var names []string
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	if near := nearest(name, names); near != "" {
		return fmt.Sprintf("did you mean tidemark %s?", near)
	}
	return "commands are " + strings.Join(names, ", ")
}

// flagError says what is wrong with a flag and what would be right.
func flagError(cmd *cobra.Command, err error) error {
	help := strings.TrimSpace(cmd.CommandPath()) + " --help lists the options"
	var missing *pflag.NotExistError
	var value *pflag.ValueRequiredError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &missing):
		name := missing.GetSpecifiedName()
		if short := missing.GetSpecifiedShortnames(); short != "" {
			return usage(help, "%s has no option -%s", cmd.Name(), short)
		}
		var names []string
		cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
		if near := nearest(name, names); near != "" {
			help = fmt.Sprintf("did you mean --%s?", near)
		}
		return usage(help, "%s has no option --%s", cmd.Name(), name)
	case errors.As(err, &value):
		return usage(help, "--%s needs a value", value.GetSpecifiedName())
	case errors.As(err, &invalid):
		return usage(help, "--%s %s: %v", invalid.GetFlag().Name, invalid.GetValue(), invalid.Unwrap())
	}
	return usage(help, "%v", err)
}

// nearest is the one of names that name was most likely meant to be, "" where
// none comes near.
func nearest(name string, names []string) string {
	best, least := "", 1+max(len(name), 3)/3
	for _, n := range names {
		d := distance(name, n)
		if len(name) >= 3 && strings.HasPrefix(n, name) {
			d = 1
		}
		if d < least || d == least && best == "" {
			best, least = n, d
		}
	}
	return best
}

// distance is the number of bytes to insert, delete, replace or swap with the
// next one to make b of a (optimal string alignment).
func distance(a, b string) int {
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(a)][len(b)]
}
