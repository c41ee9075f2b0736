package provenance

// Past is what an earlier run left: results by key. Nil remembers nothing.
type Past struct {
	byKey map[string]remembered
}

type remembered struct {
	result  []byte
	outputs []Output
}

// Recall makes a memory of a log and its results as they lie on the disk. It remembers
// nothing where Read finds any fault. A step's own line has no digest here and needs none: a wrong
// key is found by nobody, and what else serves, result and outputs, is compared with its digest.
func Recall(steps, results []byte) *Past {
	log, err := Read(StepsFile, steps, ResultsFile, results)
	if err != nil {
		return nil
	}
	p := &Past{byKey: map[string]remembered{}}
	for i, s := range log.Steps {
		p.byKey[s.Key] = remembered{log.Results[i], s.Outputs}
	}
	return p
}

// Find gives the result of the work with this key and the files that were
// written of it, and whether it is remembered. The bytes are shared: they must not be changed.
func (p *Past) Find(key string) (result []byte, outputs []Output, ok bool) {
	if p == nil {
		return nil, nil, false
	}
	r, ok := p.byKey[key]
	return r.result, r.outputs, ok
}
