package main

import (
	"encoding/json"
	"flag"
	"os"
	"regexp"
)

// expression declares a flag that is a regular expression.
func expression(set *flag.FlagSet, name, value, usage string) *regexp.Regexp {
	r := new(regexp.Regexp)
	set.TextVar(r, name, regexp.MustCompile(value), usage)
	return r
}

// lines are JSON objects, one a line, of which the file holds all so far; no name: no file.
type lines struct {
	name string
	text []byte
}

func (l *lines) add(v any) error {
	line, err := json.Marshal(v)
	if err != nil {
		return err
	}
	l.text = append(append(l.text, line...), '\n')
	if l.name == "" {
		return nil
	}
	return os.WriteFile(l.name, l.text, 0o644)
}
