package main

import (
	"os"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

func (p *program) trendCommand() *cobra.Command {
	var lines bool
	cmd := &cobra.Command{
		Use:   "trend",
		Short: "One row a night, and what is usual",
		Long: `Trend shows every night with what was touched, new and to upload, what is usual for
its class of day (weekday, weekend, month-end), the week's pattern and how the tree
grows. It reads the snapshots' summaries alone, so it answers at once however many
nights and however much data there are. Steps within one date are added up; a step
over several dates is shown and never divided.`,
		Example: `  tidemark trend
  tidemark trend --csv > nights.csv
  tidemark trend --json-lines | tail -n 7`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.trend(lines) },
	}
	p.common.rows(cmd)
	cmd.Flags().BoolVar(&lines, "json-lines", false, "answer as one JSON object a night, each on its own line")
	return cmd
}

func (p *program) trend(lines bool) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	if lines && (c.json || c.csv) {
		return usage("leave one of them out", "--json-lines and --json or --csv ask for two forms at once")
	}
	book, err := c.open()
	if err != nil {
		return err
	}
	if _, err := c.newest(book); err != nil {
		return err
	}
	v := c.trendView(book)
	text := func() error { return render.TrendText(p.stdout, v, glyphs()) }
	if lines {
		text = func() error { return render.TrendLines(p.stdout, v) }
	}
	return p.answer(&c, v, text, func() error { return render.TrendCSV(p.stdout, v) })
}

// trendView is the trend of a logbook that holds a snapshot at least.
func (c *config) trendView(book *logbook.Book) *view.Trend {
	return view.NewTrend(view.TrendParts{Trend: c.trendOf(book), Alert: c.thresholds()}, facts(book), c.view(0))
}

func (c *config) trendOf(book *logbook.Book) *measure.Trend {
	return measure.TrendOf(book.Segments(), measure.TrendOptions{
		Options: measure.Options{Profile: c.profile}, LeastCovered: c.thresholds().WarningCoveredShare,
	})
}

// thresholds are the needs file's, or those of an empty one.
func (c *config) thresholds() engine.Alert { return c.needsOrDefault().Alert }

// glyphs are what bars can be drawn with. Nothing here is coloured, so NO_COLOR
// has nothing to switch off; but a terminal whose locale is not UTF-8 would show
// rubbish for blocks.
func glyphs() render.Glyphs {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if locale := strings.ToLower(os.Getenv(name)); locale != "" {
			if strings.Contains(locale, "utf-8") || strings.Contains(locale, "utf8") {
				return render.BlockBars
			}
			return render.PlainBars
		}
	}
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		return render.BlockBars // their consoles take Unicode whatever the environment says
	}
	return render.PlainBars
}
