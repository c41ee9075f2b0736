package ingest

// Options are the thresholds of this stage. Those without a source beside
// them are common practice, no source.
type Options struct {
	// MaxMissingRel is the largest share of empty speed cells or of spikes
	// that interpolation may put right. 2 % is the share of missing rows above which a
	// transient's integral is no longer trusted.
	MaxMissingRel float64 `json:"max_missing_rel"`
	// GapSteps: an interval longer than this many median intervals is a gap.
	GapSteps float64 `json:"gap_steps"`
	// ReorderSteps: a row may be out of place by this many median intervals and
	// still be sorted in; loggers with two buffers swap neighbours, no more.
	ReorderSteps float64 `json:"reorder_steps"`
	// SpikeRel and SpikeSigma: a speed reading is impossible when it is off the
	// median of itself and three neighbours on either side by more than
	// SpikeRel of that median and by SpikeSigma robust standard deviations of such
	// differences. A missed edge makes a reading ½, a doubled one twice the
	// true value; 8 % leaves a controller's overshoot alone.
	SpikeRel   float64 `json:"spike_rel"`
	SpikeSigma float64 `json:"spike_sigma"`
	// SupplyRel is the difference between measured and declared supply that is worth a word.
	SupplyRel float64 `json:"supply_rel"`
	// MaxRows bounds the memory of one recording: eight columns of eight bytes.
	MaxRows int `json:"max_rows"`
}

// DefaultOptions are used where the job says nothing.
func DefaultOptions() Options {
	return Options{MaxMissingRel: 0.02, GapSteps: 1.5, ReorderSteps: 16, SpikeRel: 0.08, SpikeSigma: 8, SupplyRel: 0.05, MaxRows: 50_000_000}
}
