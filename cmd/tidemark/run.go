package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
)

// program is what a subcommand has at hand beside its own flags.
type program struct {
	stdout, stderr io.Writer
	common         common
}

// run is the program: it does what args ask for and returns the exit code. The
// answer goes to stdout, everything else to stderr.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	p := &program{stdout: onScreen(stdout), stderr: onScreen(stderr)}
	root := p.command()
	root.SetArgs(args)
	root.SetIn(stdin)
	help := &heard{Writer: stdout}
	root.SetOut(help)
	root.SetErr(stderr)
	fitHelp(root, columnsOf(p.stdout))
	err := checkCommand(root, args)
	if err == nil {
		var cmd *cobra.Command
		if cmd, err = root.ExecuteContextC(ctx); err != nil && cmd.Name() == "alert" {
			code, told := alertCode(err)
			if !told {
				complain(p.stderr, err)
			}
			return code
		}
	}
	if err == nil && help.err != nil {
		err = fmt.Errorf("standard output: writing the help: %w", unpathed(help.err))
	}
	if err == nil {
		return exitDone
	}
	complain(p.stderr, err)
	return codeOf(err)
}

// heard remembers that something could not be written, which the writer of the help
// does not ask.
type heard struct {
	io.Writer
	err error
}

func (h *heard) Write(b []byte) (int, error) {
	n, err := h.Writer.Write(b)
	if h.err == nil {
		h.err = err
	}
	return n, err
}

// command builds the tree of commands.
func (p *program) command() *cobra.Command {
	root := &cobra.Command{
		Use:   "tidemark",
		Short: "Measure what really changes in a folder tree, night by night",
		Long: `tidemark measures, on the machine that holds the data, how much of a folder tree
really changes from night to night and why a stored copy is smaller (or larger)
than its source. It reads; it never copies, uploads or stores contents.

Measure tonight and tomorrow night, then ask:

    tidemark scan /srv/share
    tidemark change
    tidemark explain`,
		Version:       versionText(),
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.SetVersionTemplate("tidemark {{.Version}}\n")
	root.SetFlagErrorFunc(flagError)
	p.common.register(root)
	root.AddCommand(
		p.scanCommand(),
		p.changeCommand(),
		p.explainCommand(),
		p.estimateCommand(),
		p.curveCommand(),
		p.whatIfCommand(),
		p.profilesCommand(),
		p.churnCommand(),
		p.overlapCommand(),
		p.reportCommand(),
		p.trendCommand(),
		p.alertCommand(),
		p.auditCommand(),
		p.tourCommand(),
		p.scheduleCommand(),
		p.manualCommand(),
	)
	return root
}

// checkCommand refuses a command that does not exist before its flags are
// looked at, so that the line speaks of what is really wrong.
func checkCommand(root *cobra.Command, args []string) error {
	// The completion and help commands join the tree only at execution.
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd(args...)
	if len(args) > 0 && (args[0] == cobra.ShellCompRequestCmd || args[0] == cobra.ShellCompNoDescRequestCmd) {
		return nil
	}
	asked := args
	if len(args) > 0 && args[0] == "help" {
		asked = args[1:]
	}
	cmd, rest, err := root.Find(asked)
	if err == nil && cmd.Name() == "completion" && len(rest) > 0 && !strings.HasPrefix(rest[0], "-") {
		return usage("shells are bash, zsh, fish and powershell", "no completion for %q", rest[0])
	}
	if err == nil {
		return nil
	}
	args = asked
	name := firstWord(root, args)
	return usage(suggestCommand(root, name), "no command %q", name)
}

// noArguments is the argument check of commands that take none.
func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return usage("tidemark "+cmd.Name()+" --help lists its options", "%s takes no argument, and %q is one", cmd.Name(), args[0])
}
