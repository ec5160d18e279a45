package main

import (
	"github.com/spf13/cobra"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
)

func (p *program) profilesCommand() *cobra.Command {
	var f rangeFlags
	cmd := &cobra.Command{
		Use:   "profiles",
		Short: "One tree in stores of several engine profiles, side by side",
		Long: `Profiles says what one snapshot (the newest if none is named) and the night that
led to it would take in the engine of the needs file, in its further profiles,
and in a few typical ones. With --from, uploads are added up over all nights
from that snapshot on.`,
		Example: `  tidemark profiles
  tidemark profiles --needs needs.toml --from 1`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.profiles(cmd, &f) },
	}
	f.register(cmd, fromBefore, oneAndNight)
	p.common.rows(cmd)
	return cmd
}

func (p *program) profiles(cmd *cobra.Command, f *rangeFlags) error {
	q, err := p.ask(f)
	if err != nil {
		return err
	}
	ctx, done := heavy(cmd)
	defer done()
	all := profilesOf(q.needs)
	typical := make([]bool, len(all))
	for i := range typical {
		typical[i] = i >= len(all)-len(engine.Typical())
	}
	results, err := measure.ForProfilesBetween(ctx, q.book, q.from, q.to, all, f.measure(&q.config))
	if err != nil {
		return err
	}
	v := view.NewProfiles(results, typical, facts(q.book), q.view(int(f.top)))
	return p.answer(&q.config, v,
		func() error { return render.ProfilesText(p.stdout, v) },
		func() error { return render.ProfilesCSV(p.stdout, v) })
}
