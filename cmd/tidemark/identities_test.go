package main

import (
	"encoding/json"
	"fmt"
	"math"
)

// answer walks decoded JSON and gathers what does not add up.
type sums struct {
	wrong []string
}

func (s *sums) failf(format string, args ...any) {
	s.wrong = append(s.wrong, fmt.Sprintf(format, args...))
}

func number64(v any) (int64, bool) {
	n, is := v.(json.Number)
	if !is {
		return 0, false
	}
	i, err := n.Int64()
	return i, err == nil
}

// get is an integer that must be there.
func (s *sums) get(m map[string]any, key string) int64 {
	n, is := number64(m[key])
	if !is {
		s.failf("%s is %v, no whole number", key, m[key])
	}
	return n
}

func (s *sums) equal(what string, got, want int64) {
	if got != want {
		s.failf("%s: %d is not %d", what, got, want)
	}
}

// column checks that a field of a list's objects adds up to total.
func (s *sums) column(m map[string]any, list, key string, total int64) {
	rows, is := m[list].([]any)
	if !is {
		s.failf("%s is %v, no list", list, m[list])
		return
	}
	var sum int64
	for _, row := range rows {
		sum += s.get(row.(map[string]any), key)
	}
	s.equal(list+"[]."+key+" added up", sum, total)
}

func (s *sums) ratio(m map[string]any, key string, a, b int64) {
	n, is := m[key].(json.Number)
	if !is {
		if b != 0 {
			s.failf("%s is %v", key, m[key])
		}
		return
	}
	f, err := n.Float64()
	if want := float64(a) / float64(b); err != nil || math.Abs(f-want) > 1e-12*want {
		s.failf("%s is %v, not %v", key, n, want)
	}
}

// checkIdentities checks every identity of the model that an answer shows.
func checkIdentities(v map[string]any) []string {
	s := &sums{}
	switch v["schema"] {
	case "tidemark.scan/1":
		s.explain(v["explain"].(map[string]any))
		if change, is := v["change"].(map[string]any); is {
			s.change(change)
		} else if v["baseline"] != true {
			s.failf("no change, and not the baseline")
		}
		work, coverage := v["work"].(map[string]any), v["coverage"].(map[string]any)
		if s.get(work, "read_files")+s.get(work, "reused_files")+s.get(coverage, "unread_files") < 0 {
			s.failf("negative work")
		}
	case "tidemark.explain/1":
		s.explain(v)
	case "tidemark.change/1":
		s.change(v)
	default:
		s.failf("schema %v has no identities", v["schema"])
	}
	return s.wrong
}

func (s *sums) explain(m map[string]any) {
	source, unique := s.get(m, "source_bytes"), s.get(m, "unique_bytes")
	s.equal("apparent − hardlink − zero = source", s.get(m, "apparent_bytes")-s.get(m, "hardlink_bytes")-s.get(m, "zero_bytes"), source)
	s.equal("source − duplicate_file − duplicate_chunk = unique", source-s.get(m, "duplicate_file_bytes")-s.get(m, "duplicate_chunk_bytes"), unique)
	s.ratio(m, "dedup_ratio", source, unique)
	for _, list := range []string{"by_type", "by_folder"} {
		for _, key := range []string{"apparent_bytes", "hardlink_bytes", "zero_bytes", "source_bytes", "unique_bytes", "files"} {
			s.column(m, list, key, s.get(m, key))
		}
		for _, row := range m[list].([]any) {
			r := row.(map[string]any)
			if r["exclusive_bytes"] != nil && s.get(r, "exclusive_bytes") > s.get(r, "unique_bytes") {
				s.failf("%s: %v holds alone more than what it holds first", list, r["name"])
			}
		}
	}
	if m["compressed_bytes"] == nil {
		return
	}
	compressed, stored := s.get(m, "compressed_bytes"), s.get(m, "stored_bytes")
	s.equal("unique − compression = compressed", unique-s.get(m, "compression_bytes"), compressed)
	s.equal("compressed + overhead = stored", compressed+s.get(m, "overhead_bytes"), stored)
	if low, high := s.get(m, "compressed_low_bytes"), s.get(m, "compressed_high_bytes"); low > compressed || compressed > high {
		s.failf("compressed_bytes %d lies outside %d … %d", compressed, low, high)
	}
	s.ratio(m, "compression_ratio", unique, compressed)
	s.ratio(m, "reduction_ratio", source, stored)
	s.column(m, "by_type", "compressed_bytes", compressed)
	s.column(m, "by_folder", "compressed_bytes", compressed)
}

func (s *sums) change(m map[string]any) {
	fresh := s.get(m, "new_bytes")
	for _, list := range []string{"by_type", "by_folder", "nights"} {
		for _, key := range []string{"touched_bytes", "changed_bytes", "new_bytes"} {
			s.column(m, list, key, s.get(m, key))
		}
	}
	s.column(m, "by_folder", "touched_files", s.get(m, "touched_files"))
	s.column(m, "by_type", "touched_files", s.get(m, "touched_files"))
	s.column(m, "causes", "new_bytes", fresh)
	if changed := s.get(m, "changed_bytes"); fresh > changed {
		s.failf("more is new (%d) than changed (%d)", fresh, changed)
	}
	if still := s.get(m, "still_new_bytes"); still > fresh {
		s.failf("more is still new (%d) than was new (%d)", still, fresh)
	}
	if m["new_compressed_bytes"] == nil {
		return
	}
	packed := s.get(m, "new_compressed_bytes")
	s.column(m, "by_type", "new_compressed_bytes", packed)
	s.column(m, "by_folder", "new_compressed_bytes", packed)
	if packed > fresh {
		s.failf("compressed (%d) is more than new (%d)", packed, fresh)
	}
	// Without a needs file every earlier night counts as held, so nothing that
	// returns travels again.
	s.equal("new_compressed + overhead = upload", packed+s.get(m, "overhead_bytes"), s.get(m, "upload_bytes"))
}
