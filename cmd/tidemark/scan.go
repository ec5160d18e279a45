package main

import (
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"tidemark/chunk"
	"tidemark/scan"
)

// scanFlags are the options of a scan, as typed.
type scanFlags struct {
	taken         moment
	average       size
	method        choice
	reread        bool
	allowEmpty    bool
	exclude       []string
	oneFileSystem bool
	rate          size
	maxRuntime    duration
	compress      choice
	workers       number
	metrics       string
	anew          string
	gentle        bool
}

func (p *program) scanCommand() *cobra.Command {
	f := scanFlags{
		method:   choice{of: []string{string(chunk.Gear), string(chunk.Rabin)}},
		compress: choice{of: []string{string(scan.CompressAll), string(scan.CompressSample), string(scan.CompressOff)}},
	}
	cmd := &cobra.Command{
		Use:   "scan [LABEL=]ROOT...",
		Short: "Measure folder trees and add a snapshot to the logbook",
		Long: `Scan measures each ROOT and adds one snapshot to the logbook, which the first scan
makes. Later scans without a ROOT measure all that the logbook knows;
LABEL=ROOT points a known label to another place, or adds a tree under a name.

The first Ctrl-C (or --max-runtime) records what was read so far as a partial
snapshot, and the next scan goes on; a second Ctrl-C leaves no trace.`,
		Example: `  tidemark scan /srv/share
  tidemark scan office=/srv/office drawings=/srv/cad
  tidemark scan --taken 2026-10-02T22:00:00+02:00 office=/mnt/snapshot-friday`,
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := p.scanConfig(cmd, &f, args)
			if err != nil {
				return err
			}
			return scanError(p.scan(cmd.Context(), c))
		},
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.Var(&f.taken, "taken", "record this time instead of now: an earlier state, mounted again (oldest first)")
	flags.Var(&f.average, "average", "nominal average of the chunks that files are cut into, a power of two from 4 KiB to 8 MiB (first scan only)")
	flags.Var(&f.method, "method", "how files are cut into chunks (first scan only)")
	flags.BoolVar(&f.reread, "reread", false, "read every file, whatever its size and times say")
	flags.BoolVar(&f.allowEmpty, "allow-empty", false, "accept that a root which held files is empty now")
	flags.StringArrayVar(&f.exclude, "exclude", nil, "leave out what matches `PATTERN`; may be repeated, '' forgets the earlier ones")
	flags.BoolVar(&f.oneFileSystem, "one-file-system", false, "do not go into other file systems mounted below a root")
	flags.Var(&f.rate, "rate", "read at most this many bytes a second")
	flags.Var(&f.maxRuntime, "max-runtime", "stop after this long and record a partial snapshot")
	flags.Var(&f.compress, "compress", "which new chunks are compressed to measure them (default all, or a sample of large amounts)")
	flags.Var(&f.workers, "workers", "files read at a time (default: chosen from the machine)")
	metricsFlag(cmd, &f.metrics)
	flags.StringVar(&f.anew, "anew", "", "the logbook is damaged: leave it as it is and begin a new one in `DIR`, with its roots, exclusions, cutting and key")
	must(cmd.MarkFlagDirname("anew"))
	flags.BoolVar(&f.gentle, "gentle", false, "let other programs go first: less of the processor, and the end of the queue for the disk (Linux)")
	for _, v := range []struct {
		name string
		of   []string
	}{{"method", f.method.of}, {"compress", f.compress.of}} {
		must(cmd.RegisterFlagCompletionFunc(v.name, cobra.FixedCompletions(v.of, cobra.ShellCompDirectiveNoFileComp)))
	}
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return nil, cobra.ShellCompDirectiveFilterDirs
	}
	return cmd
}

// scanConfig is one scan, checked as far as it can be before the logbook is open.
type scanConfig struct {
	config
	average int          // 0: not given
	method  chunk.Method // "": not given
	gentle  bool         // lower the process's priority first
	anew    string       // where a new logbook begins; "": nowhere
	oldKey  *chunk.Key   // to begin it with; nil: a new one, or that of --key
	options scan.Options
	metrics string // file of gauges to write; "": none
}

func (p *program) scanConfig(cmd *cobra.Command, f *scanFlags, args []string) (*scanConfig, error) {
	common, err := p.common.config()
	if err != nil {
		return nil, err
	}
	if err := checkMetrics(f.metrics); err != nil {
		return nil, err
	}
	c := &scanConfig{config: common, method: chunk.Method(f.method.is), anew: f.anew, metrics: f.metrics}
	if f.average > 0 {
		// The range is checked before the size becomes an int, which may be small.
		if f.average > chunk.MaxAverage {
			return nil, usage("for example --average 64KiB", "--average %s: the most is 8 MiB", f.average.String())
		}
		c.average = int(f.average)
		if _, err := chunk.NewParams(chunk.Rabin, c.average); err != nil {
			return nil, usage("for example --average 64KiB", "--average %s: must be a power of two from 4 KiB to 8 MiB", f.average.String())
		}
	}
	c.options = scan.Options{
		KeyFile:       c.key,
		Taken:         time.Time(f.taken),
		Reread:        f.reread,
		AllowEmpty:    f.allowEmpty,
		OneFileSystem: f.oneFileSystem,
		Rate:          int64(f.rate),
		MaxRuntime:    time.Duration(f.maxRuntime),
		Compress:      scan.CompressMode(f.compress.is),
		Workers:       int(f.workers),
		Version:       versionName(),
	}
	if cmd.Flags().Changed("exclude") {
		c.options.Exclude = []string{}
		for _, pattern := range f.exclude {
			if pattern != "" {
				c.options.Exclude = append(c.options.Exclude, pattern)
			}
		}
	}
	for _, arg := range args {
		root, err := rootArg(arg)
		if err != nil {
			return nil, err
		}
		c.options.Roots = append(c.options.Roots, root)
	}
	return c, nil
}

// rootArg reads ROOT or LABEL=ROOT. An equals sign behind a separator belongs
// to the path, so ./a=b is a path.
func rootArg(arg string) (scan.RootArg, error) {
	label, path, labelled := strings.Cut(arg, "=")
	if labelled && strings.ContainsAny(label, separators()) {
		label, path, labelled = "", arg, false
	}
	if !labelled {
		label, path = "", arg
	}
	switch {
	case labelled && label == "":
		return scan.RootArg{}, usage("write LABEL=ROOT, or ./ before a path that begins with =", "%q has no label before the equals sign", arg)
	case path == "":
		return scan.RootArg{}, usage("write ROOT or LABEL=ROOT", "%q names no folder", arg)
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return scan.RootArg{}, usage("name it with a path from the root", "%s: finding the folder: %v", path, err)
	}
	return scan.RootArg{Label: label, Path: abs}, nil
}

func separators() string {
	if runtime.GOOS == "windows" {
		return `/\`
	}
	return "/"
}
