package job

import (
	"strings"
	"testing"
	"testing/fstest"
)

// The good ledger, read whole.
func TestReadLedger(t *testing.T) {
	lines, err := ReadLedger(goodTree(t), "good/ledgers/loft.yaml")
	if err != nil || len(lines) != 5 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	l := lines[1]
	if l.Line != 5 || l.Edition != 2 || l.Replaces != 1 || l.By != "KA" || l.Value.K != 1.97 || l.Value.DoF != 398 {
		t.Errorf("%+v", l)
	}
	// 1.00011 g·cm² is 1.00011e-7 kg·m²; U = 0.002701 at k = 1.97.
	if d := l.Value.Value/1.00011e-7 - 1; d > 1e-12 || d < -1e-12 {
		t.Errorf("value %g", l.Value.Value)
	}
	if d := l.Value.U/(0.002701e-7/1.97) - 1; d > 1e-12 || d < -1e-12 {
		t.Errorf("standard uncertainty %g", l.Value.U)
	}
	if lines[3].Withdraws != 1 || lines[4].Edition != 2 || lines[0].Source == "" {
		t.Errorf("%+v", lines)
	}
}

const aHash = "ca978112ca1bbdcafac231b39a23dc4da786eff8147c4e72b9807785afe48bb0"

// Each ledger has one thing wrong, and one message that names its place.
func TestLedgerFaults(t *testing.T) {
	first := `  - {number: a/bare/inertia, edition: 1, value: "1.00 ± 0.02 g·cm² (k=2)", result: ` + aHash + `, day: 2026-03-10, by: KA}`
	second := strings.Replace(first, "edition: 1", "edition: 2, replaces: 1, because: anew", 1)
	gone := `  - {number: a/bare/inertia, withdraws: 1, because: wrong disk, day: 2026-03-11, by: KA}`
	swap := func(line, from, to string) string {
		if !strings.Contains(line, from) {
			t.Fatalf("%q is not in %q", from, line)
		}
		return strings.Replace(line, from, to, 1)
	}
	for what, c := range map[string]struct {
		lines []string
		want  string
	}{
		"edition skipped":           {[]string{first, swap(second, "edition: 2", "edition: 3")}, `l.yaml:4:39: lines.1.edition: got 3; want 2, the next of this number`},
		"first is not 1":            {[]string{swap(first, "edition: 1", "edition: 2")}, `l.yaml:3:39: lines.0.edition: got 2; want 1, the next of this number`},
		"replaces missing":          {[]string{first, swap(second, ", replaces: 1", "")}, `l.yaml:4:5: lines.1: got an edition that does not say what it replaces; want replaces: 1`},
		"replaces itself":           {[]string{first, swap(second, "replaces: 1", "replaces: 2")}, `l.yaml:4:52: lines.1.replaces: got 2; want 1, the edition before`},
		"replaces nothing":          {[]string{swap(first, "edition: 1", "edition: 1, replaces: 1")}, `l.yaml:3:52: lines.0.replaces: got 1; want no replaces: no edition stands before this one`},
		"replaces a withdrawn one":  {[]string{first, gone, swap(second, "2026-03-10", "2026-03-12")}, `l.yaml:5:52: lines.2.replaces: got 1; want no replaces`},
		"no reason":                 {[]string{first, swap(second, ", because: anew", "")}, `l.yaml:4:5: lines.1: got an edition that replaces another without because; want the reason`},
		"withdrawn without reason":  {[]string{first, swap(gone, ", because: wrong disk", "")}, `l.yaml:4:5: lines.1: got a withdrawal without because; want the reason`},
		"withdrawn before released": {[]string{gone}, `l.yaml:3:41: lines.0.withdraws: got 1; want an edition that is released`},
		"withdrawn twice":           {[]string{first, gone, gone}, `l.yaml:5:41: lines.2.withdraws: got 1; want an edition that is released`},
		"another edition withdrawn": {[]string{first, swap(gone, "withdraws: 1", "withdraws: 2")}, `l.yaml:4:41: lines.1.withdraws: got 2; want 1, the edition that is released`},
		"withdrawal with a value":   {[]string{first, swap(gone, "because", `value: "1.00 ± 0.02 g·cm² (k=2)", because`)}, `l.yaml:4:44: lines.1.value: got "value" beside withdraws; want number, withdraws, because, day and by`},
		"no value":                  {[]string{swap(first, `value: "1.00 ± 0.02 g·cm² (k=2)", `, "")}, `l.yaml:3:5: lines.0: got an edition without value; want the value with its expanded uncertainty and coverage factor`},
		"standard uncertainty":      {[]string{swap(first, `1.00 ± 0.02 g·cm² (k=2)`, "1.00(1) g·cm²")}, `l.yaml:3:49: lines.0.value: got "1.00(1) g·cm²"; want an expanded uncertainty with its coverage factor, such as 12.340 ± 0.150 g·cm² (k=2.13)`},
		"another unit":              {[]string{first, swap(second, "g·cm²", "N·m")}, `l.yaml:4:77: lines.1.value: got a torque; want a moment of inertia, as in the edition before`},
		"day before":                {[]string{first, swap(second, "2026-03-10", "2026-03-09")}, `2026-03-09"; want a day not before 2026-03-10, that of the line before`},
		"neither result nor source": {[]string{swap(first, ", result: "+aHash, "")}, `l.yaml:3:5: lines.0: got none of result, source, withdraws; want one of them`},
		"basis of an older number":  {[]string{swap(first, "result: ", "source: notebook 3, basis: ")}, `lines.0.basis: got basis without result; want both or neither`},
		"number":                    {[]string{swap(first, "a/bare/inertia", "bare")}, `l.yaml:3:14: lines.0.number: got "bare"; want the id of a number such as weir-2207/prop-5x4.A/inertia`},
		"unknown key":               {[]string{swap(first, "edition", "editon")}, `got an unknown key "editon"`},
	} {
		lines, err := ParseLedger("l.yaml", []byte("format: 1\nlines:\n"+strings.Join(c.lines, "\n")+"\n"))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Count(err.Error(), "\n") != 0 {
			t.Errorf("%s: got %v\n(%d lines) want %s", what, err, len(lines), c.want)
		}
	}
	if lines, err := ParseLedger("l.yaml", []byte("format: 1\nlines:\n"+first+"\n"+second+"\n")); err != nil || len(lines) != 2 {
		t.Errorf("the good lines: %v", err)
	}
}

func TestMovesFaults(t *testing.T) {
	for text, want := range map[string]string{
		"{number: a/bare/inertia, up_to: 1 %, because: x, by: KA}\n  - {number: a/bare/inertia, up_to: 1 %, because: x, by: KA}": `m.yaml:4:14: moves.1.number: got "a/bare/inertia" a second time; want one move of each number (first on line 3)`,
		"{number: a/bare/inertia, gone: no, because: x, by: KA}":                                                                 `m.yaml:3:36: moves.0.gone: got "no"; want yes, or no such key`,
		"{number: a/bare/inertia, up_to: 1, because: x, by: KA}":                                                                 `m.yaml:3:38: moves.0.up_to: got "1" without a unit; want 1, % or ppm (ratio) (did you mean "1 1" or "1 %"?)`,
		"{number: a/bare/inertia, because: x, by: KA}":                                                                           `m.yaml:3:5: moves.0: got none of up_to, gone; want one of them`,
	} {
		tree := fstest.MapFS{"m.yaml": {Data: []byte("format: 1\nmoves:\n  - " + text + "\n")}}
		if _, err := ReadMoves(tree, "m.yaml"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v\nwant %s", text, err, want)
		}
	}
	if moves, err := ReadMoves(goodTree(t), "good/moves/gone.yaml"); err != nil || len(moves) != 2 || !moves[1].Gone || moves[0].UpToRel != 3e-4 {
		t.Errorf("%+v %v", moves, err)
	}
	if _, err := ReadMoves(fstest.MapFS{}, "none.yaml"); err == nil || err.Error() != `none.yaml: got "none.yaml"; want a moves file: a file that exists` {
		t.Error(err)
	}
}
