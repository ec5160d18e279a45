package engine

import (
	"fmt"
	"math/bits"
	"strings"
)

func (c *checker) profiles(f *file) (own *Profile, others []Profile) {
	taken := map[string]string{}
	if f.Engine != nil {
		p := c.profile("engine", f.Engine, "the store", taken)
		own = &p
	}
	c.most("profiles", len(f.Profiles), mostProfiles)
	for i := range f.Profiles {
		others = append(others, c.profile(fmt.Sprintf("profiles[%d]", i), &f.Profiles[i], fmt.Sprintf("profile %d", i+1), taken))
	}
	return own, others
}

func (c *checker) profile(at string, v *fileProfile, fallback string, taken map[string]string) Profile {
	overhead := func(key string, n *int64) int64 {
		return c.whole(at+"."+key, n, 0, span{0, 1 << 30, "bytes"})
	}
	p := Profile{
		Name:              c.label(at+".name", v.Name, fallback, taken),
		Unit:              Unit(c.choice(at+".unit", v.Unit, "", string(WholeFile), string(ContentDefined))),
		Compression:       Compression(c.choice(at+".compression", v.Compression, string(None), string(None), string(Light), string(Strong))),
		PerChunkBytes:     overhead("per_chunk_bytes", v.PerChunkBytes),
		PerReferenceBytes: overhead("per_reference_bytes", v.PerReferenceBytes),
		PerFileBytes:      overhead("per_file_bytes", v.PerFileBytes),
		BundleBytes:       bytesOf(c.number(at+".bundle_mib", v.BundleMiB, 0, span{0, 65536, "MiB"}), 1<<20),
		SeparateDevices:   isTrue(v.SeparateDevices),
	}
	if v.Unit == nil {
		c.fail(at+".unit", "is missing: write %q or %q", WholeFile, ContentDefined)
	}
	if v.AverageKiB != nil {
		kib := c.whole(at+".average_kib", v.AverageKiB, 64, span{4, 8192, "KiB"})
		switch {
		case p.Unit == WholeFile:
			c.fail(at+".average_kib", "means nothing for whole files: leave it out")
		case bits.OnesCount64(uint64(kib)) != 1:
			c.fail(at+".average_kib", "%d is no power of two: write the nearest, %d or %d", kib, 1<<(bits.Len64(uint64(kib))-1), 1<<bits.Len64(uint64(kib)))
		}
		p.AverageBytes = int(kib) << 10
	}
	const before = "before-chunking"
	p.EncryptBeforeChunking = c.choice(at+".encryption", v.Encryption, "none", "none", before, "after-chunking") == before
	if p.EncryptBeforeChunking && p.Compression != None {
		c.fail(at+".compression", "what is encrypted before chunking does not compress: write compression = %q", None)
	}
	return p
}

func (c *checker) choice(key string, v *string, fallback string, allowed ...string) string {
	if v == nil {
		return fallback
	}
	for _, a := range allowed {
		if *v == a {
			return a
		}
	}
	c.fail(key, `there is no %q: write "%s"`, shortened(*v), strings.Join(allowed, `" or "`))
	return fallback
}

// What a restore is assumed to cost where the file says nothing. Figures of
// ours, in the middle of what small offices have: no source.
const (
	assumedRequestDelayMS   = 50
	assumedParallelRequests = 4
	assumedDiskMBPerSecond  = 100
	assumedPerFileMS        = 1
)

func (c *checker) restore(v *fileRestore) Restore {
	if v == nil {
		v = &fileRestore{}
	}
	if v.ParallelRequests == nil {
		c.assumed = append(c.assumed, fmt.Sprintf("restore.parallel_requests = %d", assumedParallelRequests))
	}
	return Restore{
		RequestDelaySeconds: c.assume("restore.request_delay_ms", v.RequestDelayMS, assumedRequestDelayMS, span{0, 3_600_000, "ms"}) / 1000,
		ParallelRequests:    int(c.whole("restore.parallel_requests", v.ParallelRequests, assumedParallelRequests, span{1, 10_000, "how many at once"})),
		DiskBytesPerSecond:  c.assume("restore.disk_mb_per_second", v.DiskMBPerSecond, assumedDiskMBPerSecond, span{0.1, 1e6, "MB a second"}) * 1e6,
		PerFileSeconds:      c.assume("restore.per_file_ms", v.PerFileMS, assumedPerFileMS, span{0, 3_600_000, "ms"}) / 1000,
		HumanDelaySeconds:   c.number("restore.human_delay_minutes", v.HumanDelayMinutes, 0, span{0, 100_000, "minutes"}) * 60,
		PerYear:             c.number("restore.restores_per_year", v.PerYear, 0, span{0, 10_000, "restores a year"}),
	}
}

func (c *checker) plans(from []filePlan, currency string) []Plan {
	c.most("plans", len(from), mostPlans)
	taken := map[string]string{}
	current := ""
	var plans []Plan
	for i := range from {
		at := fmt.Sprintf("plans[%d]", i)
		p := c.plan(at, &from[i], currency, taken)
		if p.Current {
			if current != "" {
				c.fail(at+".current", "is said on line %d already: only one plan is in use", c.row(current))
			}
			current = at + ".current"
		}
		plans = append(plans, p)
	}
	return plans
}

func (c *checker) plan(at string, v *filePlan, currency string, taken map[string]string) Plan {
	money := func(key string, amount *float64) float64 { return c.number(at+"."+key, amount, 0, prices) }
	if v.Name == nil {
		c.fail(at+".name", "is missing: write the plan's name")
	}
	p := Plan{
		Name:                   c.label(at+".name", v.Name, at, taken),
		Current:                isTrue(v.Current),
		CapacityBytes:          bytesOf(c.number(at+".capacity_tb", v.CapacityTB, 0, terabytes), 1e12),
		MonthlyPrice:           money("monthly_price", v.MonthlyPrice),
		PricePerTBMonth:        money("price_per_tb_month", v.PricePerTBMonth),
		MinimumBilledBytes:     bytesOf(c.number(at+".minimum_billed_tb", v.MinimumBilledTB, 0, terabytes), 1e12),
		MinimumStorageDays:     int(c.whole(at+".minimum_storage_days", v.MinimumStorageDays, 0, span{0, 36_500, "days"})),
		DownloadPricePerTB:     money("download_price_per_tb", v.DownloadPricePerTB),
		PricePerMillionRequest: money("price_per_million_requests", v.PricePerMillionRequests),
		Currency:               c.currency(at+".currency", v.Currency, currency),
	}
	if v.MonthlyPrice == nil && v.PricePerTBMonth == nil {
		c.fail(at, "has no price: write monthly_price or price_per_tb_month (0 if it is free)")
	}
	if p.Currency == "" {
		c.fail(at, `has no currency: write currency = "EUR" in the table or at the top of the file`)
	}
	if v.PricePerTBMonth == nil && (v.MinimumBilledTB != nil || v.MinimumStorageDays != nil) {
		c.fail(at, "minimum_billed_tb and minimum_storage_days need price_per_tb_month: a flat price bills no amounts")
	}
	if p.CapacityBytes > 0 && p.MinimumBilledBytes > p.CapacityBytes {
		c.fail(at+".minimum_billed_tb", "is above capacity_tb: the plan could never hold what it bills")
	}
	return p
}
