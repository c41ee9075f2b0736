package positioned_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"testing"

	"github.com/hashicorp/go-multierror"

	"spinledger/stages/kit/positioned"
)

func TestErrorText(t *testing.T) {
	for _, c := range []struct {
		e    positioned.Error
		want string
	}{
		{positioned.Error{File: "jobs/rotor-a.yaml", Line: 14, Col: 9, Field: "window_start", Got: `"-0.5 s"`, Want: "a time of at least 0 s"},
			`jobs/rotor-a.yaml:14:9: window_start: got "-0.5 s"; want a time of at least 0 s`},
		{positioned.Error{File: "rec/run07.csv", Line: 1043, Col: 18, Field: "torque", Got: `"1,25"`, Want: `a decimal number written with "."`, Hint: `did you mean "1.25"?`},
			`rec/run07.csv:1043:18: torque: got "1,25"; want a decimal number written with "." (did you mean "1.25"?)`},
		{positioned.Error{File: "a.csv", Line: 3, Got: "2 cells", Want: "5"}, "a.csv:3: got 2 cells; want 5"},
		{positioned.Error{File: "a.csv", Col: 4, Got: "nothing", Want: "a header"}, "a.csv: got nothing; want a header"},
		{positioned.Error{Got: "x", Want: "y"}, "got x; want y"},
	} {
		if got := c.e.Error(); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

func at(file string, line, col int, field string) *positioned.Error {
	return &positioned.Error{File: file, Line: line, Col: col, Field: field, Got: "g", Want: "w"}
}

// inOrder are errors as a user should see them: by file, then as numbers by
// line and column (10 after 9), then by field and text.
func inOrder() []*positioned.Error {
	other := at("b", 2, 3, "y")
	other.Want = "z"
	return []*positioned.Error{
		at("a", 10, 1, ""), at("b", 0, 0, "z"), at("b", 2, 0, ""), at("b", 2, 3, "x"), at("b", 2, 3, "y"), other,
		at("b", 2, 10, ""), at("b", 9, 1, ""), at("b", 10, 1, ""), at("c", 1, 1, ""),
	}
}

func TestListSortsAndDropsRepeats(t *testing.T) {
	want := inOrder()
	// Every rotation, forward and backward, with repeats strewn in.
	for k := range want {
		for _, backward := range []bool{false, true} {
			given := slices.Concat(want[k:], want[:k])
			if backward {
				slices.Reverse(given)
			}
			given = slices.Concat(given, inOrder()[3:7], given[:2])
			var l positioned.List
			for _, e := range given {
				l.Add(e)
			}
			if l.Len() != len(given) {
				t.Errorf("Len: got %d; want %d", l.Len(), len(given))
			}
			err := l.Err()
			got := positioned.All(err)
			if len(got) != len(want) {
				t.Fatalf("rotation %d: got %d errors; want %d:\n%v", k, len(got), len(want), err)
			}
			lines := strings.Split(err.Error(), "\n")
			for i := range want {
				if *got[i] != *want[i] || lines[i] != want[i].Error() {
					t.Errorf("rotation %d, error %d: got %v, written %q; want %v", k, i, got[i], lines[i], want[i])
				}
			}
			// Asking again gives the same, and one more can still be added.
			l.Add(at("d", 1, 1, ""))
			if n := len(positioned.All(l.Err())); n != len(want)+1 {
				t.Errorf("after one more: got %d errors; want %d", n, len(want)+1)
			}
		}
	}
}

func TestEmptyListIsNoError(t *testing.T) {
	var l positioned.List
	if err := l.Err(); err != nil || l.Len() != 0 {
		t.Errorf("got %v, %d; want nil, 0", err, l.Len())
	}
}

func TestAllThroughWrapping(t *testing.T) {
	a, b, c := at("a", 1, 1, ""), at("b", 1, 1, ""), at("c", 1, 1, "")
	var l positioned.List
	l.Add(b)
	l.Add(a)
	list := l.Err()
	for _, k := range []struct {
		name string
		err  error
		want []*positioned.Error
	}{
		{"nothing", nil, nil},
		{"other error", fs.ErrNotExist, nil},
		{"one", a, []*positioned.Error{a}},
		{"one wrapped twice", fmt.Errorf("run: %w", fmt.Errorf("fit: %w", a)), []*positioned.Error{a}},
		{"list", list, []*positioned.Error{a, b}},
		{"list wrapped", fmt.Errorf("job: %w", list), []*positioned.Error{a, b}},
		{"joined", errors.Join(c, fs.ErrNotExist, a), []*positioned.Error{c, a}},
		{"one and a list joined", errors.Join(c, list), []*positioned.Error{c, a, b}},
		{"a list and one joined", errors.Join(list, c), []*positioned.Error{a, b, c}},
		{"two wrapped at once", fmt.Errorf("%w and %w", c, list), []*positioned.Error{c, a, b}},
		{"list of lists", multierror.Append(nil, fmt.Errorf("first: %w", list), c), []*positioned.Error{a, b, c}},
	} {
		if got := positioned.All(k.err); !slices.Equal(got, k.want) {
			t.Errorf("%s: got %v; want %v", k.name, got, k.want)
		}
	}
}

func TestAsThroughWrapping(t *testing.T) {
	var l positioned.List
	l.Add(at("b", 1, 1, ""))
	l.Add(at("a", 1, 1, ""))
	for name, err := range map[string]error{
		"list":    l.Err(),
		"wrapped": fmt.Errorf("job: %w", l.Err()),
		"joined":  errors.Join(fs.ErrNotExist, l.Err()),
	} {
		var e *positioned.Error
		if !errors.As(err, &e) || e.File != "a" {
			t.Errorf("%s: errors.As gave %v; want the first error, of file a", name, e)
		}
		var list *multierror.Error
		if !errors.As(err, &list) || len(list.Errors) != 2 {
			t.Errorf("%s: errors.As gave %v; want the list of two", name, list)
		}
	}
	if errors.As(fs.ErrNotExist, new(*positioned.Error)) {
		t.Error("errors.As found a positioned error in another one")
	}
}

func TestJSONNames(t *testing.T) {
	text, err := json.Marshal(positioned.Error{File: "a", Line: 1, Got: "g", Want: "w"})
	if want := `{"file":"a","line":1,"got":"g","want":"w"}`; err != nil || string(text) != want {
		t.Errorf("got %s, %v; want %s", text, err, want)
	}
}
