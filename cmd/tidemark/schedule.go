package main

import (
	"embed"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
)

//go:embed units
var unitFiles embed.FS

// programMark stands in the files for the program's own path.
const programMark = "@PROGRAM@"

func (p *program) scheduleCommand() *cobra.Command {
	var binary string
	cmd := &cobra.Command{
		Use:   "schedule DIR",
		Short: "Write the files that run a scan every night into a folder",
		Long: `Schedule writes into DIR a service and a timer for systemd that scan every night, a
second pair that speaks up in the morning if the night was unusual, a line for cron,
and a note for the Windows Task Scheduler. Read them, then copy what fits, the
systemd files to /etc/systemd/system. Files that are there already are replaced.

The service may read everything and write nothing but its logbook in
/var/lib/tidemark; a scan that was done in part counts as success and leaves a line
in the log.`,
		Example: `  tidemark schedule /tmp/units
  tidemark schedule --program /usr/local/bin/tidemark /tmp/units`,
		Args: oneFolder("/tmp/units"),
		RunE: func(_ *cobra.Command, args []string) error { return p.schedule(args[0], binary) },
	}
	cmd.Flags().StringVar(&binary, "program", "", "`PATH` at which the program will lie (default where it lies now)")
	must(cmd.MarkFlagFilename("program"))
	return cmd
}

func (p *program) schedule(dir, binary string) error {
	if binary == "" {
		self, err := os.Executable()
		if err != nil {
			return hinted(fmt.Errorf("finding the program's own path: %w", err), "name it with --program PATH")
		}
		binary = self
	}
	// systemd takes a path from the root only, and so does cron to be safe.
	if !filepath.IsAbs(binary) && !strings.HasPrefix(binary, "/") {
		return usage("for example --program /usr/local/bin/tidemark", "--program %s: must be a path from the root", binary)
	}
	if strings.ContainsFunc(binary, func(r rune) bool { return r < ' ' || r == 0x7f || strings.ContainsRune(`"'%$`, r) }) {
		return usage("put it where the path is plain, such as /usr/local/bin/tidemark", "--program %q: quotes, $, %% and control characters mean something else in these files", binary)
	}
	list, err := unitFiles.ReadDir("units")
	if err != nil {
		return err
	}
	var files []file
	for _, e := range list {
		text, err := unitFiles.ReadFile("units/" + e.Name())
		if err != nil {
			return err
		}
		files = append(files, file{e.Name(), strings.ReplaceAll(string(text), programMark, quotedPath(binary, e.Name()))})
	}
	return p.writeFiles(dir, "files for a nightly run", files)
}

// oneFolder is the argument check of commands that write into one.
func oneFolder(example string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		hint := "for example: tidemark " + cmd.Name() + " " + example
		switch {
		case len(args) != 1:
			return usage(hint, "%s takes one folder, and %d were given", cmd.Name(), len(args))
		case args[0] == "":
			return usage(hint, "%s needs a folder to write into, and its name is empty", cmd.Name())
		}
		return nil
	}
}

// file is one to be written, whole.
type file struct{ name, text string }

// writeFiles writes files into a folder, which it makes, and says so.
func (p *program) writeFiles(dir, what string, files []file) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("%s: making the folder: %w", dir, unpathed(err))
	}
	for _, f := range files {
		err := replaceFile(filepath.Join(dir, f.name), 0o644, func(w io.Writer) error {
			_, err := io.WriteString(w, f.text)
			return err
		})
		if err != nil {
			return err
		}
	}
	p.remark("%s: %d %s are written, %s to %s", dir, len(files), what, files[0].name, files[len(files)-1].name)
	return nil
}

// remark says on stderr what a command did that answers nothing; --quiet silences it.
func (p *program) remark(format string, args ...any) {
	newTalk(p.stderr, 0, p.common.quiet).say("%s", oneLine(fmt.Sprintf(format, args...)))
}

// quotedPath is the program's path as systemd and a shell both read it.
func quotedPath(path, file string) string {
	if !strings.ContainsAny(path, " ;&|<>()*?[]#~`!{}\\") {
		return path
	}
	if strings.HasSuffix(file, ".cron") {
		return "'" + path + "'"
	}
	return `"` + strings.ReplaceAll(path, `\`, `\\`) + `"`
}
