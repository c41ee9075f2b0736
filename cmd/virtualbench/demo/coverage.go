package demo

import (
	"fmt"
	"math"
	"testing/fstest"

	"spinledger/pipeline"
)

// Coverage computes the catalogue of one seed in memory and says, for every
// number whose truth is known, whether its 95 % interval holds the truth. A
// true number without a result counts as not held.
func Coverage(seed uint64) (held map[string]bool, all int, err error) {
	c, err := Build(seed)
	if err != nil {
		return nil, 0, err
	}
	tree := fstest.MapFS{}
	for name, data := range c.Files {
		tree[name] = &fstest.MapFile{Data: data}
	}
	names, err := pipeline.FindJobs(tree, "jobs")
	if err != nil {
		return nil, 0, err
	}
	jobs, err := pipeline.ReadJobs(tree, names)
	if err != nil {
		return nil, 0, err
	}
	held = map[string]bool{}
	for _, j := range jobs {
		f, _, err := pipeline.Compute(tree, pipeline.Plan(j), 2, nil)
		if err != nil {
			return nil, 0, fmt.Errorf("seed %d: %w", seed, err)
		}
		for _, n := range f.Numbers {
			if want, ok := c.Truth[n.ID]; ok {
				held[n.ID] = math.Abs(n.Value.Mean-want) <= n.Value.Expanded().U
			}
		}
	}
	return held, len(c.Truth), nil
}
