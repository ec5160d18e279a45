package main

import (
	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
)

func (p *program) curveCommand() *cobra.Command {
	var f rangeFlags
	cmd := &cobra.Command{
		Use:   "curve",
		Short: "Stored size and nightly upload against average chunk size",
		Long: `Curve says what one snapshot (the newest if none is named) and the night that led
to it would take if it were cut into larger chunks, and as whole files: every
size from the logbook's own up to 8 MiB, out of what was measured once. With
--from, new bytes are added up over all nights from that snapshot on.`,
		Example: `  tidemark curve
  tidemark curve --needs needs.toml
  tidemark curve --from 1 --to 8 --csv`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.curve(cmd, &f) },
	}
	f.register(cmd, fromBefore, oneAndNight)
	p.common.rows(cmd)
	return cmd
}

func (p *program) curve(cmd *cobra.Command, f *rangeFlags) error {
	q, err := p.ask(f)
	if err != nil {
		return err
	}
	ctx, done := heavy(cmd)
	defer done()
	m, err := measure.CurveBetween(ctx, q.book, q.from, q.to, f.measure(&q.config))
	if err != nil {
		return err
	}
	v := view.NewCurve(m, facts(q.book), q.view(int(f.top)))
	return p.answer(&q.config, v,
		func() error { return render.CurveText(p.stdout, v) },
		func() error { return render.CurveCSV(p.stdout, v) })
}
