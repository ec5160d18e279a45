package main

import (
	"os"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"

	"tidemark/report/engine"
	"tidemark/report/units"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// common are the options of every command, as typed.
type common struct {
	logbook, key, needs string
	json, csv, quiet    bool
	units               choice
}

func (c *common) register(root *cobra.Command) {
	f := root.PersistentFlags()
	f.StringVar(&c.logbook, "logbook", "", "`DIR` of the logbook (default $TIDEMARK_LOGBOOK, else in the state folder)")
	f.StringVar(&c.key, "key", "", "`FILE` of the logbook's key, where it is not kept inside the logbook")
	f.StringVar(&c.needs, "needs", "", "`FILE` of needs (TOML): what the store is like, and more")
	f.BoolVar(&c.json, "json", false, "answer as one JSON object")
	c.units = choice{is: "si", of: []string{"si", "iec"}}
	f.Var(&c.units, "units", "units of bytes in text: si (kB, MB: powers of 1000) or iec (KiB, MiB: powers of 1024)")
	f.BoolVar(&c.quiet, "quiet", false, "no progress and no remarks; a scan that went well prints nothing")
	for _, name := range []string{"key", "needs"} {
		must(root.MarkPersistentFlagFilename(name))
	}
	must(root.MarkPersistentFlagDirname("logbook"))
	must(root.RegisterFlagCompletionFunc("units", cobra.FixedCompletions(c.units.of, cobra.ShellCompDirectiveNoFileComp)))
}

// must is for what only a mistake in this program's own text can break.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

// rows adds --csv to a command whose answer has rows.
func (c *common) rows(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&c.csv, "csv", false, "answer as CSV rows (RFC 4180)")
}

// config is what the common options come to once they are checked.
type config struct {
	dir     string // of the logbook
	key     string // "": inside the logbook
	json    bool
	csv     bool
	quiet   bool
	units   units.System
	needs   *engine.Needs   // nil: none was given
	profile *engine.Profile // of the needs; nil: none was given
}

func (c *common) config() (config, error) {
	out := config{key: c.key, json: c.json, csv: c.csv, quiet: c.quiet}
	if c.json && c.csv {
		return out, usage("leave one of them out", "--json and --csv ask for two forms at once")
	}
	var err error
	if out.units, err = units.ParseSystem(c.units.is); err != nil {
		return out, usage("", "--units: %v", err)
	}
	if c.needs != "" {
		needs, err := engine.ParseFile(c.needs)
		if err != nil {
			return out, &failure{code: exitUsage, fact: err.Error(), err: err}
		}
		out.needs, out.profile = needs, needs.Profile
	}
	if out.dir, err = logbookDir(c.logbook); err != nil {
		return out, err
	}
	return out, nil
}

// options of a view that shows so many rows.
func (c *config) view(rows int) view.Options {
	return view.Options{Units: c.units, Profile: c.profile, Rows: rows}
}

// needsOrDefault are the needs file's, or those of an empty one.
func (c *config) needsOrDefault() *engine.Needs {
	if c.needs != nil {
		return c.needs
	}
	return engine.Default()
}

// open opens the logbook for reading.
func (c *config) open() (*logbook.Book, error) { return logbook.Open(c.dir) }

func facts(b *logbook.Book) view.Facts { return view.Facts{Params: b.Params(), Segments: b.Segments()} }

// logbookDir is the folder given, or the first of those that the environment
// names, or the customary one. The result is absolute.
func logbookDir(given string) (string, error) {
	dir := given
	if dir == "" {
		dir = os.Getenv("TIDEMARK_LOGBOOK")
	}
	if dir == "" {
		// A service manager may name several state folders.
		if list := filepath.SplitList(os.Getenv("STATE_DIRECTORY")); len(list) > 0 {
			dir = list[0]
		}
	}
	if dir == "" {
		state, err := stateDir(runtime.GOOS)
		if err != nil {
			return "", usage("name one with --logbook DIR", "no place for the logbook: %v", err)
		}
		dir = filepath.Join(state, "tidemark")
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", usage("name it with a path from the root", "%s: finding the logbook: %v", dir, err)
	}
	return abs, nil
}

// stateDir is where programs keep what they remember: by the XDG base directory
// specification, or as the system has it.
func stateDir(system string) (string, error) {
	if system == "windows" {
		return os.UserCacheDir() // %LocalAppData%, which is not only for caches
	}
	if dir := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(dir) {
		return dir, nil // the specification has relative ones ignored
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", err
	}
	if system == "darwin" {
		return filepath.Join(home, "Library", "Application Support"), nil
	}
	return filepath.Join(home, ".local", "state"), nil
}
