package main

import (
	"fmt"
	"strings"

	"github.com/cpuguy83/go-md2man/v2/md2man"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tidemark/report/view"
)

func (p *program) manualCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "manual DIR",
		Short: "Write the manual pages into a folder",
		Long:  "Manual writes one manual page for each command into DIR, to be read with man -l FILE\nor copied to a folder of section 1.",
		Args:  oneFolder("/usr/local/share/man/man1"),
		RunE:  func(cmd *cobra.Command, args []string) error { return p.manual(cmd.Root(), args[0]) },
	}
}

func (p *program) manual(root *cobra.Command, dir string) error {
	var pages []file
	for _, cmd := range append([]*cobra.Command{root}, root.Commands()...) {
		if cmd != root && !cmd.IsAvailableCommand() {
			continue
		}
		pages = append(pages, file{pageName(cmd) + ".1", string(md2man.Render([]byte(manualPage(cmd))))})
	}
	return p.writeFiles(dir, "manual pages", pages)
}

func pageName(cmd *cobra.Command) string { return strings.ReplaceAll(cmd.CommandPath(), " ", "-") }

// manualPage is a command's page in the Markdown that md2man makes roff of. It
// bears no date, so that the same program writes the same pages.
func manualPage(cmd *cobra.Command) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%% %s 1 \"\" \"tidemark %s\" \"tidemark manual\"\n\n", strings.ToUpper(pageName(cmd)), versionName())
	fmt.Fprintf(&b, "# NAME\n\n%s - %s\n\n# SYNOPSIS\n\n**%s**\n\n", pageName(cmd), cmd.Short, escapeMarkdown(cmd.UseLine()))
	fmt.Fprintf(&b, "# DESCRIPTION\n\n%s\n\n", escapeMarkdown(cmd.Long))
	flagSection(&b, "OPTIONS", cmd.LocalNonPersistentFlags())
	flagSection(&b, "COMMON OPTIONS", cmd.Root().PersistentFlags())
	if cmd.Example != "" {
		fmt.Fprintf(&b, "# EXAMPLES\n\n```\n%s\n```\n\n", cmd.Example)
	}
	if !cmd.HasParent() {
		b.WriteString("# WORDS\n\n")
		for _, t := range view.Glossary() {
			fmt.Fprintf(&b, "**%s**\n:   %s\n\n", escapeMarkdown(t.Word), escapeMarkdown(t.Means))
		}
	}
	b.WriteString("# EXIT STATUS\n\n")
	meanings := exitMeanings
	if cmd.Name() == "alert" {
		meanings = alertMeanings
	}
	for _, e := range meanings {
		fmt.Fprintf(&b, "**%d**\n:   %s\n\n", e.code, e.meaning)
	}
	b.WriteString("# SEE ALSO\n\n")
	var others []string
	for _, other := range append([]*cobra.Command{cmd.Root()}, cmd.Root().Commands()...) {
		if other != cmd && (other == cmd.Root() || other.IsAvailableCommand()) {
			others = append(others, "**"+pageName(other)+"**(1)")
		}
	}
	b.WriteString(strings.Join(others, ", ") + "\n")
	return b.String()
}

type exitMeaning struct {
	code    int
	meaning string
}

var alertMeanings = []exitMeaning{
	{0, "usual"},
	{1, "warning: something is unusual"},
	{2, "critical: something is very unusual"},
	{exitUnknown, "unknown: too few nights to judge by, wrong usage, or no logbook that can be read"},
}

var exitMeanings = []exitMeaning{
	{exitDone, "done"},
	{exitFailed, "failed; nothing was recorded"},
	{exitUsage, "wrong usage"},
	{exitPart, "done in part: some files could not be read, or the scan was stopped"},
	{exitLocked, "another scan holds the logbook"},
	{exitDamaged, "the logbook is damaged, of a newer format, or its key is missing or wrong"},
}

func flagSection(b *strings.Builder, title string, flags *pflag.FlagSet) {
	var lines []string
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		value, about := pflag.UnquoteUsage(f)
		name := strings.TrimSpace("--" + f.Name + " " + value)
		lines = append(lines, fmt.Sprintf("**%s**\n:   %s\n\n", escapeMarkdown(name), escapeMarkdown(about)))
	})
	if len(lines) > 0 {
		fmt.Fprintf(b, "# %s\n\n%s", title, strings.Join(lines, ""))
	}
}

// escapeMarkdown keeps what would be markup as it is.
func escapeMarkdown(text string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "_", `\_`, "<", `\<`, "[", `\[`, "|", `\|`).Replace(text)
}
