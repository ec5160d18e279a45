package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"tidemark/report/render"
)

// answer prints a view in the form that was asked for. csv is nil where rows
// make no sense.
func (p *program) answer(c *config, v any, text, csv func() error) error {
	var err error
	switch {
	case c.json:
		err = render.JSON(p.stdout, v)
	case c.csv && csv != nil:
		err = csv()
	default:
		err = text()
	}
	if err != nil {
		return &failure{code: exitFailed, fact: "standard output: writing the answer: " + err.Error(), err: err, hint: "the logbook is as it was; ask again"}
	}
	return nil
}

// interruptible ends a command that only reads at the first signal.
func interruptible(cmd *cobra.Command) (context.Context, context.CancelFunc) {
	return signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
}
