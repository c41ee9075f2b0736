// Package provenance is the log of a job's computation: what each stage was
// given, with which options and method, and what it gave.
//
// # Files
//
// provenance.jsonl holds one JSON object a line, results.jsonl the result of
// step n on line n, so that a line can be checked with sed and sha256sum.
// Fields of a step, in order:
//
//	n        number from 1, the line in both files
//	stage    declare, ingest, drag, torque, choose, fit, subtract, crosscheck, respond, trace, publish
//	subject  the recording, rotor or job that the step is about
//	method   version of the stage's method; changes whenever its numbers can
//	key      SHA-256 over stage, method, options and input: the description of the work
//	program  on the first step: version of the program, modules it is linked with, their hashes
//	options  the stage's options after defaults
//	from     numbers of the steps whose results entered
//	inputs   files read: name, sha256 of the bytes parsed, size
//	outputs  files written of this step alone: name below the job's folder, sha256, size
//	output   SHA-256 of the result's JSON, line n of results.jsonl without its newline
//	warnings codes of the warnings the stage gave
//	waived   failed checks that a waiver covers, "check of subject"
//
// The first step, declare, reads job, bench and parts files; its result is what they say
// and where. The last, publish, rests on all others and writes the tables.
//
// No time, host, path outside the tree or platform enters: those stand in
// machine.json, which nothing hashes.
package provenance

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
)

// Input is one file that was read.
type Input struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
}

// Output is one file that was written, its name below the job's folder.
type Output struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
}

// Step is one line of the log.
type Step struct {
	N        int             `json:"n"`
	Stage    string          `json:"stage"`
	Subject  string          `json:"subject"`
	Method   string          `json:"method"`
	Key      string          `json:"key"`
	Program  *Program        `json:"program,omitempty"`
	Options  json.RawMessage `json:"options"`
	From     []int           `json:"from,omitempty"`
	Inputs   []Input         `json:"inputs,omitempty"`
	Outputs  []Output        `json:"outputs,omitempty"`
	Output   string          `json:"output"`
	Warnings []string        `json:"warnings,omitempty"`
	Waived   []string        `json:"waived,omitempty"`
}

// Log collects steps and their results in order.
type Log struct {
	Steps   []Step
	Results [][]byte
}

// NewStep describes work before it is done: options and input as JSON values and
// the key over them. Number, output and what lies around the step are still empty. NaN
// and infinities cannot pass: the error names stage and subject.
func NewStep(stage, subject, method string, options, input any) (Step, error) {
	opt, err := json.Marshal(options)
	if err != nil {
		return Step{}, fmt.Errorf("%s %s: options: %w", stage, subject, err)
	}
	in, err := json.Marshal(input)
	if err != nil {
		return Step{}, fmt.Errorf("%s %s: input: %w", stage, subject, err)
	}
	return Step{Stage: stage, Subject: subject, Method: method, Key: Key(stage, method, opt, in), Options: opt}, nil
}

// Append logs a step with its result, a JSON value, and returns its number.
func (l *Log) Append(s Step, result []byte) int {
	s.N, s.Output = len(l.Steps)+1, sum(result)
	l.Steps = append(l.Steps, s)
	l.Results = append(l.Results, result)
	return s.N
}

// Add logs work that is not looked up anywhere: NewStep and Append in one. It returns the step's number.
func (l *Log) Add(stage, subject, method string, options, input, result any, from []int, inputs []Input, warnings []string) (int, error) {
	s, err := NewStep(stage, subject, method, options, input)
	if err != nil {
		return 0, err
	}
	out, err := json.Marshal(result)
	if err != nil {
		return 0, fmt.Errorf("%s %s: result: %w", stage, subject, err)
	}
	s.From, s.Inputs, s.Warnings = from, inputs, warnings
	return l.Append(s, out), nil
}

// Key is the SHA-256, in hex, over the length-prefixed stage, method, options and input.
func Key(stage, method string, options, input []byte) string {
	h := sha256.New()
	for _, b := range [][]byte{[]byte(stage), []byte(method), options, input} {
		fmt.Fprintf(h, "%d:", len(b))
		h.Write(b)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func sum(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// Lines are the log and the results as JSON Lines.
func (l *Log) Lines() (steps, results []byte, err error) {
	for i, s := range l.Steps {
		line, err := json.Marshal(s)
		if err != nil {
			return nil, nil, err
		}
		steps = append(append(steps, line...), '\n')
		results = append(append(results, l.Results[i]...), '\n')
	}
	return steps, results, nil
}
