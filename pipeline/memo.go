package pipeline

import (
	"encoding/json"
	"errors"
	"fmt"

	"spinledger/pipeline/provenance"
)

// done is one piece of work that was computed or remembered.
type done[Out any] struct {
	out  Out
	step provenance.Step
	// json is the result as it is logged.
	json []byte
	// remembered is true for a hit; what JSON leaves out of Out is then empty.
	remembered bool
}

// do looks up the work in the past and computes it where it is not there. The key is
// made of exactly the value that the stage receives, so that nothing can reach a
// stage and miss the key; the samples of a recording alone are outside, and the
// digest of its bytes stands for them. run is called on a miss. What is logged is
// the same for both.
func do[Out any](past *provenance.Past, stage, subject, method string, options, input any, run func() (Out, error)) (done[Out], error) {
	step, err := provenance.NewStep(stage, subject, method, options, input)
	if err != nil {
		return done[Out]{}, err
	}
	if result, outputs, ok := past.Find(step.Key); ok {
		d := done[Out]{step: step, json: result, remembered: true}
		if json.Unmarshal(result, &d.out) == nil {
			d.step.Outputs = outputs
			return d, nil
		}
	}
	d := done[Out]{step: step}
	if d.out, err = run(); err != nil {
		return d, err
	}
	if d.json, err = json.Marshal(d.out); err != nil {
		return d, fmt.Errorf("%s %s: result: %w", stage, subject, err)
	}
	return d, nil
}

// add logs what was done, with the steps it rests on and the codes of its warnings.
func (d *done[Out]) add(log *provenance.Log, from []int, warnings []string) int {
	d.step.From, d.step.Warnings = from, warnings
	return log.Append(d.step, d.json)
}

// errDoubt says that something remembered turned out to be wrong: the job is
// computed anew without memory. Its text is seen only where that did not help.
var errDoubt = errors.New("a recording changed while it was read")
