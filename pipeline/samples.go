package pipeline

import (
	"bytes"
	"encoding/json"
	"fmt"
	"sync"

	"spinledger/pipeline/provenance"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// defaultSampleBytes bounds the samples that a run holds between its stages: two or three
// hundred recordings of usual length. Those that find no room are read again, which is
// cheaper than any copy on the disk would be.
const defaultSampleBytes = 128 << 20

// sampleSet holds samples by the id of their recording, up to a number of bytes.
type sampleSet struct {
	mu   sync.Mutex
	room int64
	held map[string]*series.Samples
}

func newSampleSet(bytes int64) *sampleSet {
	return &sampleSet{room: bytes, held: map[string]*series.Samples{}}
}

// put keeps samples if there is room.
func (s *sampleSet) put(id string, x *series.Samples) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.held[id]; ok || x == nil || sampleBytes(x) > s.room {
		return
	}
	s.room -= sampleBytes(x)
	s.held[id] = x
}

func (s *sampleSet) get(id string) (*series.Samples, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	x, ok := s.held[id]
	return x, ok
}

func (s *sampleSet) drop(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if x, ok := s.held[id]; ok {
		s.room += sampleBytes(x)
		delete(s.held, id)
	}
}

func sampleBytes(x *series.Samples) int64 {
	n := 0
	for _, col := range [][]float64{x.TimeS, x.SpeedRadPerS, x.TorqueNm, x.ThrustN, x.Duty, x.VoltageV, x.CurrentA, x.TemperatureK} {
		n += cap(col)
	}
	return 8 * int64(n)
}

// samples are those of a recording: held since it was read, or read again, in which
// case ingest must find what it found before.
func (c *computation) samples(l *loaded) (*series.Samples, error) {
	id := l.rec.Declared.ID()
	if x, ok := c.res.held.get(id); ok {
		return x, nil
	}
	rec, _, err := c.again(&l.described, c.log.Results[l.step-1], nil)
	if err != nil {
		// It could be read before.
		return nil, errDoubt
	}
	c.res.held.put(id, rec.Samples)
	return rec.Samples, nil
}

// again reads a recording that is known, and compares what ingest finds with what it found.
func (c *computation) again(d *described, known []byte, sink SampleSink) (spin.Recording, []provenance.Output, error) {
	rec, outputs, err := c.scan(d, sink)
	if err != nil {
		return rec, nil, err
	}
	found, err := json.Marshal(rec)
	if err != nil {
		return rec, nil, fmt.Errorf("ingest %s: result: %w", rec.Declared.ID(), err)
	}
	if !bytes.Equal(found, known) {
		return rec, nil, errDoubt
	}
	return rec, outputs, nil
}
