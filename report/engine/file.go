package engine

import "github.com/pelletier/go-toml/v2"

// The structs here are the needs file as it is written: pointers where leaving
// a key out means something. The key names end in their unit; check.go turns
// them into base units.

type file struct {
	Zone          *string         `toml:"zone"`
	Currency      *string         `toml:"currency"`
	HorizonMonths *int64          `toml:"horizon_months"`
	Horizon       *toml.LocalDate `toml:"horizon"`
	Lines         []fileLine      `toml:"lines"`
	Window        *fileWindow     `toml:"window"`
	Retention     *fileRetention  `toml:"retention"`
	Engine        *fileProfile    `toml:"engine"`
	Profiles      []fileProfile   `toml:"profiles"`
	Restore       *fileRestore    `toml:"restore"`
	Plans         []filePlan      `toml:"plans"`
	Alert         *fileAlert      `toml:"alert"`
}

type fileLine struct {
	Name          *string     `toml:"name"`
	UpMbit        *float64    `toml:"up_mbit"`
	DownMbit      *float64    `toml:"down_mbit"`
	Efficiency    *float64    `toml:"efficiency"`
	VLAN          *bool       `toml:"vlan"`
	IPv6          *bool       `toml:"ipv6"`
	MonthlyPrice  *float64    `toml:"monthly_price"`
	Currency      *string     `toml:"currency"`
	TransferCapGB *float64    `toml:"transfer_cap_gb"`
	Limits        []fileLimit `toml:"limits"`
}

type fileLimit struct {
	Days   []string `toml:"days"`
	From   *string  `toml:"from"`
	To     *string  `toml:"to"`
	UpMbit *float64 `toml:"up_mbit"`
}

type fileWindow struct {
	From        *string  `toml:"from"`
	To          *string  `toml:"to"`
	InTimeShare *float64 `toml:"in_time_share"`
}

type fileRetention struct {
	Everything *bool    `toml:"everything"`
	Last       *int64   `toml:"last"`
	Daily      *int64   `toml:"daily"`
	Weekly     *int64   `toml:"weekly"`
	Monthly    *int64   `toml:"monthly"`
	Yearly     *int64   `toml:"yearly"`
	CapGB      *float64 `toml:"cap_gb"`
}

type fileProfile struct {
	Name              *string  `toml:"name"`
	Unit              *string  `toml:"unit"`
	AverageKiB        *int64   `toml:"average_kib"`
	Compression       *string  `toml:"compression"`
	PerChunkBytes     *int64   `toml:"per_chunk_bytes"`
	PerReferenceBytes *int64   `toml:"per_reference_bytes"`
	PerFileBytes      *int64   `toml:"per_file_bytes"`
	BundleMiB         *float64 `toml:"bundle_mib"`
	Encryption        *string  `toml:"encryption"`
	SeparateDevices   *bool    `toml:"separate_devices"`
}

type fileRestore struct {
	RequestDelayMS    *float64 `toml:"request_delay_ms"`
	ParallelRequests  *int64   `toml:"parallel_requests"`
	DiskMBPerSecond   *float64 `toml:"disk_mb_per_second"`
	PerFileMS         *float64 `toml:"per_file_ms"`
	HumanDelayMinutes *float64 `toml:"human_delay_minutes"`
	PerYear           *float64 `toml:"restores_per_year"`
}

type filePlan struct {
	Name                    *string  `toml:"name"`
	Current                 *bool    `toml:"current"`
	CapacityTB              *float64 `toml:"capacity_tb"`
	MonthlyPrice            *float64 `toml:"monthly_price"`
	PricePerTBMonth         *float64 `toml:"price_per_tb_month"`
	MinimumBilledTB         *float64 `toml:"minimum_billed_tb"`
	MinimumStorageDays      *int64   `toml:"minimum_storage_days"`
	DownloadPricePerTB      *float64 `toml:"download_price_per_tb"`
	PricePerMillionRequests *float64 `toml:"price_per_million_requests"`
	Currency                *string  `toml:"currency"`
}

type fileAlert struct {
	WarningScore         *float64 `toml:"warning_score"`
	CriticalScore        *float64 `toml:"critical_score"`
	FloorShare           *float64 `toml:"floor_share"`
	FloorMB              *float64 `toml:"floor_mb"`
	FloorFiles           *int64   `toml:"floor_files"`
	Nights               *int64   `toml:"nights"`
	WarningAgeHours      *float64 `toml:"warning_age_hours"`
	CriticalAgeHours     *float64 `toml:"critical_age_hours"`
	WarningCoveredShare  *float64 `toml:"warning_covered_share"`
	CriticalCoveredShare *float64 `toml:"critical_covered_share"`
	WarningFullDays      *float64 `toml:"warning_full_days"`
	CriticalFullDays     *float64 `toml:"critical_full_days"`
}
