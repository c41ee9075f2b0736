package provenance

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/kit/positioned"
)

// sample is a log of four steps, the last resting on two of them.
func sample(t testing.TB) (steps, results []byte) {
	t.Helper()
	l := &Log{}
	in := []Input{{Name: "rec/a.csv", SHA256: strings.Repeat("0a", 32), Size: 12}}
	for _, s := range []struct {
		stage, subject string
		result         any
		from           []int
		inputs         []Input
	}{
		{"ingest", "mini/a", map[string]float64{"speed": 1.5}, nil, in},
		{"ingest", "mini/b", "nothing <usable>", nil, in},
		{"drag", "mini/rotor:bare", []int{1, 2}, []int{1}, nil},
		{"fit", "mini/a", nil, []int{3, 1}, nil},
	} {
		if _, err := l.Add(s.stage, s.subject, s.stage+"/1", map[string]string{"form": "<auto>"}, s.subject, s.result, s.from, s.inputs, []string{"gap"}); err != nil {
			t.Fatal(err)
		}
	}
	steps, results, err := l.Lines()
	if err != nil {
		t.Fatal(err)
	}
	return steps, results
}

func TestReadWhatLinesWrote(t *testing.T) {
	steps, results := sample(t)
	l, err := Read("p", steps, "r", results)
	if err != nil {
		t.Fatal(err)
	}
	a, b, err := l.Lines()
	if err != nil || !bytes.Equal(a, steps) || !bytes.Equal(b, results) {
		t.Errorf("written again: %v\n%s\n%s", err, a, b)
	}
	var speed struct{ Speed float64 }
	if err := l.Result(1, &speed); err != nil || speed.Speed != 1.5 {
		t.Errorf("result 1: %v %v", speed, err)
	}
	if err := l.Result(5, &speed); err == nil || err.Error() != "step 5: the log has 4 steps" {
		t.Error(err)
	}
	if err := l.Result(2, &speed); err == nil || !strings.HasPrefix(err.Error(), "step 2, ingest of mini/b: ") {
		t.Error(err)
	}
	if got := l.Behind(4); !slices.Equal(got, []int{1, 3, 4}) {
		t.Errorf("behind 4: %v", got)
	}
	if got := l.Behind(2); !slices.Equal(got, []int{2}) {
		t.Errorf("behind 2: %v", got)
	}
	if l.Behind(0) != nil || l.Behind(5) != nil {
		t.Error("steps that are not there")
	}
}

func TestReadNamesWhatIsWrong(t *testing.T) {
	goodSteps, goodResults := sample(t)
	line := func(n int) string { return strings.Split(string(goodSteps), "\n")[n-1] }
	hash := func(n int) string { return line(n)[strings.Index(line(n), `"output":"`)+10:][:64] }
	edit := func(from, to string) []byte { return []byte(strings.Replace(string(goodSteps), from, to, 1)) }
	for name, c := range map[string]struct {
		steps, results []byte
		want           []string
	}{
		"result altered": {goodSteps, bytes.Replace(goodResults, []byte("1.5"), []byte("1.6"), 1), []string{
			`r:1: got a result with SHA-256 ` + sum([]byte(`{"speed":1.6}`)) + `; want the ingest of mini/a, which has ` + hash(1) + ` (p)`}},
		"result missing": {goodSteps, bytes.TrimSuffix(goodResults, []byte("null\n")), []string{`r: got 3 results; want one for each of the 4 steps in p`}},
		"cut":            {goodSteps[:len(goodSteps)-1], goodResults, []string{`p:4: got a last line that is cut off; want a newline at its end`}},
		"empty":          {nil, nil, []string{`p: got an empty file; want a step of the log on each line`, `r: got an empty file; want the result of a step on each line`}},
		"no JSON":        {edit(`{"n":1,`, `{"n":1;`), goodResults, []string{`p:1:7: got no JSON: invalid character ';' after object key:value pair; want a step of the log`}},
		"unknown field":  {edit(`{"n":1,`, `{"n":1,"when":2,`), goodResults, []string{`p:1: got no step: json: unknown field "when"; want a step of the log`}},
		"wrong kind":     {edit(`"stage":"ingest"`, `"stage":7`), goodResults, []string{`p:1:16: stage: got a number; want a step of the log`}},
		"other spelling": {edit(`"stage":"ingest"`, `"Stage":"ingest"`), goodResults, []string{
			`p:1:9: got "Stage\":\"ingest\",\"subject"; want the step as it is written: "stage\":\"ingest\",\"subject"`}},
		"trailing":      {edit(`"warnings":["gap"]}`, `"warnings":["gap"]} `), goodResults, []string{fmt.Sprintf(`p:1:%d: got " "; want the step as it is written: nothing more`, len(line(1))+1)}},
		"wrong number":  {edit(`{"n":2`, `{"n":3`), goodResults, []string{`p:2: n: got 3; want 2, the number of the line`}},
		"forward":       {edit(`"from":[3,1]`, `"from":[4,1]`), goodResults, []string{`p:4: from: got 4; want numbers of earlier steps, each once`}},
		"twice":         {edit(`"from":[3,1]`, `"from":[1,1]`), goodResults, []string{`p:4: from: got 1; want numbers of earlier steps, each once`}},
		"leaves":        {edit(`rec/a.csv`, `../a.csv`), goodResults, []string{`p:1: inputs.0.name: got "../a.csv"; want a path below the root, with /`}},
		"negative size": {edit(`"size":12`, `"size":-12`), goodResults, []string{`p:1: inputs.0.size: got -12; want a number of bytes`}},
		"short digest":  {edit(`"sha256":"0a`, `"sha256":"`), goodResults, []string{`p:1: inputs.0.sha256: got "` + strings.Repeat("0a", 31) + `"; want a SHA-256 in 64 lower-case hexadecimal digits`}},
		"no subject": {edit(`"subject":"mini/a"`, `"subject":""`), goodResults, []string{
			`p:1: subject: got nothing; want a text`}},
	} {
		_, err := Read("p", c.steps, "r", c.results)
		var got []string
		for _, e := range positioned.All(err) {
			got = append(got, e.Error())
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: got\n%s\nwant\n%s", name, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
}

// FuzzRead: no panic; what is read writes back the same bytes; a fault has its
// place inside the file; the same bytes give the same text.
func FuzzRead(f *testing.F) {
	steps, results := sample(f)
	f.Add(steps, results)
	f.Add([]byte("{\"n\":1}\n"), []byte("1\n"))
	f.Add([]byte("{\"n\":\xff}\n"), []byte{})
	f.Fuzz(func(t *testing.T, steps, results []byte) {
		if len(steps)+len(results) > 1<<16 {
			return
		}
		l, err := Read("p", steps, "r", results)
		if err != nil {
			_, again := Read("p", steps, "r", results)
			if again == nil || again.Error() != err.Error() {
				t.Fatalf("two texts: %v and %v", err, again)
			}
			for _, e := range positioned.All(err) {
				data := steps
				if e.File == "r" {
					data = results
				}
				lines := bytes.Split(data, []byte{'\n'})
				if e.Line > len(lines) || (e.Line > 0 && e.Col > len(lines[e.Line-1])+1) {
					t.Fatalf("place outside the file: %v", e)
				}
			}
			return
		}
		a, b, err := l.Lines()
		if err != nil || !bytes.Equal(a, steps) || !bytes.Equal(b, results) {
			t.Fatalf("written again: %v\n%q\n%q", err, a, b)
		}
	})
}
