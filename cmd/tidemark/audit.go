package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

func (p *program) auditCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "audit",
		Short: "Prove the logbook whole, or name what is damaged",
		Long: `Audit reads the whole logbook, proves each file against its checksum and the
chain of snapshots, and recounts what the summaries claim. Exit code 8 says that
something is damaged. Nothing is written.`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.audit(cmd) },
	}
}

func (p *program) audit(cmd *cobra.Command) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	ctx, done := interruptible(cmd)
	defer done()
	segments, found, err := logbook.Audit(ctx, c.dir)
	if err != nil {
		return err
	}
	v := view.NewAudit(segments, found)
	if !c.quiet || c.json || len(found) > 0 {
		if err := p.answer(&c, v, func() error { return render.AuditText(p.stdout, v) }, nil); err != nil {
			return err
		}
	}
	if len(found) == 0 {
		return nil
	}
	first := found[0]
	return &failure{
		code: exitDamaged, err: logbook.ErrDamaged,
		fact: fmt.Sprintf("%s: audit: %s: %s", c.dir, first.File, first.Reason),
		hint: "keep the damaged logbook as it is and begin another beside it: tidemark scan --anew DIR",
	}
}
