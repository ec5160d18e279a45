package view

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// leastShareSpread is the least spread of a compressed share that scores reckon
// with: five points in a hundred come and go with what happens to be written (a log
// that is rotated and packed, say). A score of 3.5 is then 26 points or more.
const leastShareSpread = 0.05

// compressed judges how much of the new data of each type, and of each folder, is
// left when it is compressed, beside the type's or folder's own past. A type that
// was never there before has no past; the folder it turns up in has.
func (j *judge) compressed() {
	if j.night == nil || !j.night.Measured {
		return
	}
	j.compressedOf("type", j.night.Types, j.shares.types)
	j.compressedOf("folder", j.night.Folders, j.shares.folders)
}

func (j *judge) compressedOf(kind string, rows []logbook.SplitTotals, history map[string][]float64) {
	rows = slices.Clone(rows)
	slices.SortFunc(rows, func(a, b logbook.SplitTotals) int {
		return cmp.Or(cmp.Compare(b.NewBytes, a.NewBytes), cmp.Compare(a.Name, b.Name))
	})
	for i := range rows {
		row := &rows[i]
		if row.NewBytes <= 0 || row.NewPacked < 0 || row.NewBytes < j.Alert.FloorBytes {
			continue
		}
		p := past{words: "earlier nights", values: history[row.Name]}
		r := AlertReason{Measure: MeasureCompressedShare, Of: &AlertOf{Kind: kind, Name: newName(row.Name)}}
		if len(p.values) < j.Alert.Nights {
			continue // a newcomer among types; its folder is judged
		}
		u := measure.UsualValues(p.values)
		a := j.Alert
		floor := max(leastShareSpread, a.FloorShare*min(u.Median, max(1-u.Median, 0)))
		a.FloorShare = 0 // of the median is too wide here: a share ends at all
		r.compare(float64(row.NewPacked)/float64(row.NewBytes), p, floor, a)
		r.Evidence = fmt.Sprintf("the %s that is new in %s compresses to %s of its size, %s",
			j.units.Bytes(row.NewBytes), ofWords(r.Of), shareWords(*r.Value), r.beside(p, shareWords))
		if r.Status != StatusUsual {
			r.Folders = j.compressedFolders()
		}
		j.add(r)
	}
}

// compressedFolders are the three of the night of which most is left, each with its share.
func (j *judge) compressedFolders() []AlertFolder {
	rows := j.topFolders(func(f *logbook.SplitTotals) (float64, string) {
		if f.NewBytes == 0 || f.NewPacked < 0 {
			return 0, ""
		}
		return float64(f.NewPacked), fmt.Sprintf("%s new, to %s", j.units.Bytes(f.NewBytes), shareWords(share(f.NewPacked, f.NewBytes)))
	})
	for k := range rows {
		for i := range j.night.Folders {
			if t := &j.night.Folders[i]; t.Name == rows[k].Raw {
				rows[k].Value = share(t.NewPacked, t.NewBytes)
			}
		}
	}
	return rows
}

// shareHistory holds the compressed shares of the new data of each type and folder,
// oldest night first. The class of the day does not matter to them, nor how many
// dates a step covers. On a night on which one was not among the busiest, a summary
// has no figure of it.
type shareHistory struct{ types, folders map[string][]float64 }

func newShareHistory() *shareHistory {
	return &shareHistory{map[string][]float64{}, map[string][]float64{}}
}

func (h *shareHistory) add(n *measure.TrendNight) {
	if !n.Measured {
		return
	}
	for _, s := range []struct {
		of   map[string][]float64
		rows []logbook.SplitTotals
	}{{h.types, n.Types}, {h.folders, n.Folders}} {
		for i := range s.rows {
			if r := &s.rows[i]; r.NewBytes > 0 && r.NewPacked >= 0 {
				values := append(s.of[r.Name], float64(r.NewPacked)/float64(r.NewBytes))
				s.of[r.Name] = values[max(0, len(values)-pastNights):]
			}
		}
	}
}

func shareWords(f float64) string { return units.Share(math.Round(f*1000) / 1000) }

func ofWords(of *AlertOf) string {
	if of.Kind == "folder" {
		return FolderText(of.Raw)
	}
	if of.Raw == "" {
		return "files without ending"
	}
	return "." + oneLine(of.Raw) + " files"
}
