package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"tidemark/chunk"
	"tidemark/cmd/tidemark/tour"
	"tidemark/report/engine"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan"
	"tidemark/scan/logbook"
)

// exampleNeeds is the needs file of the example: invented, as its firm is.
//
//go:embed tour_needs.toml
var exampleNeeds string

func (p *program) tourCommand() *cobra.Command {
	var small bool
	cmd := &cobra.Command{
		Use:   "tour DIR",
		Short: "Make an example, measure its nights and answer every question",
		Long: `Tour lays out the file share of a small workshop under DIR and plays four weeks on
it, with the troubles that a share has: a folder that can not be read, a missed
run, a renamed folder, a month-end, drawings scrambled and restored. Each night is
measured with the program's own scan. Then a page of plain words leads from
question to question, and holds every night against what was really done.

The data, the logbook, the truth, a needs file and a report stay under DIR to play
with. Nothing else is touched. DIR must be new, empty, or hold an earlier tour,
which is then made anew. About 1 GB of room is needed, with --small 50 MB.`,
		Example: `  tidemark tour /tmp/tidemark-tour
  tidemark tour --small /tmp/tidemark-tour`,
		Args: func(_ *cobra.Command, args []string) error {
			switch len(args) {
			case 0:
				return usage("for example: tidemark tour /tmp/tidemark-tour", "tour needs a folder to put its example into")
			case 1:
				return nil
			}
			return usage("for example: tidemark tour /tmp/tidemark-tour", "tour takes one folder, and %q is a second", args[1])
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o := tour.Options{Seed: tour.DefaultSeed, Size: tour.Full}
			if small {
				o.Size = tour.Small
			}
			return p.tour(cmd, args[0], o)
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
	}
	cmd.Flags().BoolVar(&small, "small", false, "a small example of the same kind (about 20 MB)")
	return cmd
}

func (p *program) tour(cmd *cobra.Command, dir string, o tour.Options) error {
	for _, f := range []struct{ name, value string }{{"--logbook", p.common.logbook}, {"--key", p.common.key}} {
		if f.value != "" {
			return usage("leave the option out", "%s %s: a tour keeps its logbook and key under its own folder", f.name, f.value)
		}
	}
	if dir == "" {
		return usage("for example: tidemark tour /tmp/tidemark-tour", "tour needs a folder to put its example into")
	}
	begin := time.Now()
	c, needs, err := p.tourConfig()
	if err != nil {
		return err
	}
	ctx, done := interruptible(cmd)
	defer done()
	f, err := openTourFolder(dir, o)
	if err != nil {
		return err
	}
	defer f.close()
	c.dir = f.path(tourBook)
	v, err := p.takeTour(ctx, f, c, o, needs, begin)
	switch {
	case ctx.Err() != nil:
		return &failure{code: exitFailed, fact: f.dir + ": interrupted; what was made so far lies there", hint: "the same command makes it anew"}
	case errors.Is(err, syscall.ENOSPC):
		return &failure{
			code: exitFailed, err: err, fact: err.Error(),
			hint: "the example takes about 1 GB of room, with --small 50 MB; what was made so far lies in " + f.dir,
		}
	case err != nil:
		return err
	}
	if err := p.answer(&c.config, v, func() error { return render.TourText(p.stdout, v) }, nil); err != nil {
		return err
	}
	if bad := v.Failed + len(v.Broken); bad > 0 {
		return &failure{
			code: exitFailed,
			fact: fmt.Sprintf("%s: the scoreboard: %s not what was really done", f.dir, view.Plural(int64(bad), "figure")+" "+isAre(bad)),
			hint: "tidemark tour --json lists them; please report it with that output",
		}
	}
	return nil
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// tourConfig is how the nights are scanned, and the text of the needs file.
func (p *program) tourConfig() (*scanConfig, string, error) {
	common, err := p.common.config()
	if err != nil {
		return nil, "", err
	}
	needs := exampleNeeds
	if p.common.needs != "" {
		b, err := os.ReadFile(p.common.needs)
		if err != nil {
			return nil, "", usage("", "%s: reading the needs file: %v", p.common.needs, bare(err))
		}
		needs = string(b)
	}
	return &scanConfig{config: common, method: chunk.DefaultMethod, options: scan.Options{Version: versionName()}}, needs, nil
}

// takeTour makes the example, measures it and answers the questions.
func (p *program) takeTour(ctx context.Context, f *tourFolder, c *scanConfig, o tour.Options, needs string, begin time.Time) (*view.Tour, error) {
	if err := os.WriteFile(f.path(tourNeeds), []byte(needs), 0o644); err != nil {
		return nil, fmt.Errorf("%s: writing the needs file: %w", f.path(tourNeeds), bare(err))
	}
	parsed, err := engine.ParseFile(f.path(tourNeeds))
	if err != nil {
		return nil, &failure{code: exitUsage, fact: err.Error(), err: err}
	}
	if o.Size == tour.Small {
		c.average = smallAverage
	}
	talk := newTalk(p.stderr, c.units, c.quiet)
	defer talk.clear()
	played, err := playTour(ctx, f, c, o, talk)
	if err != nil {
		return nil, err
	}
	talk.draw("answering the questions")
	asked := time.Now()
	book, err := logbook.Open(c.dir)
	if err != nil {
		return nil, err
	}
	c.needs, c.profile = parsed, parsed.Profile
	v := &view.Tour{
		Schema: "tidemark.tour/1", Size: o.Size.String(), Seed: o.Seed, Nights: tour.Nights, Snapshots: len(played.scans),
		Paths: view.TourPaths{
			Folder: f.dir, Data: []string{f.path(tour.Main), f.path(tour.Annex)}, Logbook: c.dir,
			Truth: f.path(tourTruth), Needs: f.path(tourNeeds),
		},
		Steps: []view.TourStep{}, Scoreboard: []view.TourRow{}, Board: []view.TourNight{}, Units: c.units,
	}
	if err := scoreboard(ctx, book, played, v); err != nil {
		return nil, err
	}
	page := &tourPage{ctx: ctx, book: book, c: &c.config, folder: f, played: played, v: v}
	if err := page.write(); err != nil {
		return nil, err
	}
	v.Elapsed = view.TourTimes{
		LayoutSeconds: played.layout.Seconds(), ScanSeconds: played.scanning.Seconds(),
		PageSeconds: time.Since(asked).Seconds(), ElapsedSeconds: time.Since(begin).Seconds(),
	}
	v.Finish()
	return v, nil
}
