package tables

import (
	"slices"
	"sync/atomic"

	"spinledger/stages/kit/series"
)

// ahead is how many blocks the reader may be ahead of the writer. A few even out
// their paces; each costs 64 bytes a row.
const ahead = 4

// Tee passes blocks on, unchanged, and has copies of them written meanwhile by
// another goroutine: reading a recording and packing its samples cost about the same, and
// two cores share them. Blocks are written in order, so that neither bytes nor the
// error depend on the pace. When writing fails the sequence ends with that error; so does Close.
func (s *SampleWriter) Tee(in series.Blocks) series.Blocks {
	return func(yield func(*series.Block, error) bool) {
		t := &tee{w: s, full: make(chan *series.Block, ahead), empty: make(chan *series.Block, ahead+2), done: make(chan struct{})}
		go t.write()
		// However the walk ends, the writer is through with its blocks before anybody goes on.
		var fault error
		stopped := false
		func() {
			defer func() {
				close(t.full)
				<-t.done
			}()
			for b, err := range in {
				if fault = err; err != nil || t.failed.Load() {
					return
				}
				t.full <- t.copy(b)
				if stopped = !yield(b, nil); stopped {
					return
				}
			}
		}()
		if s.failure != nil {
			// It belongs to an earlier block than the reader's fault does.
			fault = s.failure
		}
		if s.failure = fault; fault != nil && !stopped {
			yield(nil, fault)
		}
	}
}

// tee is the state of one Tee.
type tee struct {
	w           *SampleWriter
	full, empty chan *series.Block
	done        chan struct{}
	failed      atomic.Bool
}

// write adds blocks until there are no more or one fails.
func (t *tee) write() {
	defer close(t.done)
	for b := range t.full {
		if t.w.failure == nil {
			if t.w.failure = t.w.Add(b); t.w.failure != nil {
				t.failed.Store(true)
			}
		}
		select {
		case t.empty <- b:
		default:
		}
	}
}

// copy is a block of its own with the same rows, made of a used one where there is one.
func (t *tee) copy(b *series.Block) *series.Block {
	var c *series.Block
	select {
	case c = <-t.empty:
	default:
		n := len(b.Mantissa)
		c = &series.Block{Mantissa: make([][]int64, n), Floats: make([][]float64, n), Missing: make([][]bool, n)}
	}
	c.FirstLine, c.Rows = b.FirstLine, b.Rows
	c.Lines, c.Exponent = refill(c.Lines, b.Lines), append(c.Exponent[:0], b.Exponent...)
	for k := range b.Mantissa {
		c.Mantissa[k] = refill(c.Mantissa[k], b.Mantissa[k])
		c.Floats[k] = refill(c.Floats[k], b.Floats[k])
		c.Missing[k] = refill(c.Missing[k], b.Missing[k])
	}
	return c
}

// refill copies src over dst; nil stays nil.
func refill[T any](dst, src []T) []T {
	if src == nil {
		return nil
	}
	return append(slices.Grow(dst[:0], len(src)), src...)
}
