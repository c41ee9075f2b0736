package pipeline

import (
	"bytes"
	"io/fs"
	"math"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"spinledger/pipeline/job"
	"spinledger/stages/kit/spin"
)

// TestDraftFindsTheDemo drafts a job from each motor's recordings alone and
// compares it with the job file that a person wrote: kinds, conditions, rotors; and
// the inertias that come out, on the torque scale that nobody calibrated.
func TestDraftFindsTheDemo(t *testing.T) {
	tree := os.DirFS("..")
	for _, c := range []struct {
		job, bench string
	}{{"weir-1104", ""}, {"sluice-4006", ""}, {"penstock-2207", "jobs/benches/annex.yaml"}} {
		t.Run(c.job, func(t *testing.T) {
			want, err := job.Read(tree, "jobs/"+c.job+".yaml")
			if err != nil {
				t.Fatal(err)
			}
			files, err := RecordingFiles(tree, "testdata/demo/"+c.job)
			if err != nil {
				t.Fatal(err)
			}
			d, err := DraftJob(tree, files, DraftOptions{To: "jobs", Bench: c.bench, PolePairs: want.Motor.PolePairs})
			if err != nil {
				t.Fatal(err)
			}
			if len(d.Left) > 0 || len(d.Faults) > 0 {
				t.Fatalf("left %v, faults %v", d.Left, d.Faults)
			}
			got, err := job.Read(overlaid(tree, d.Files), d.JobFile)
			if err != nil {
				t.Fatal(err)
			}
			mounting := map[string]string{}
			for _, w := range want.Recordings {
				g, ok := got.Recording(w.Name)
				if !ok {
					t.Errorf("%s is missing", w.Name)
					continue
				}
				if g.Kind != w.Kind {
					t.Errorf("%s: kind %s, want %s", w.Name, g.Kind, w.Kind)
				}
				if math.Abs(g.SupplyV/w.SupplyV-1) > 0.02 {
					t.Errorf("%s: supply %.3g V, want %.3g V", w.Name, g.SupplyV, w.SupplyV)
				}
				if w.Kind == spin.Step && (len(g.Command) != len(w.Command) || math.Abs(g.Command[1]-w.Command[1]) > 0.006) {
					t.Errorf("%s: command %v, want %v", w.Name, g.Command, w.Command)
				}
				if known, ok := mounting[g.Mounting]; ok && known != w.Mounting {
					t.Errorf("%s: mounting %s is of %s and %s", w.Name, g.Mounting, known, w.Mounting)
				}
				mounting[g.Mounting] = w.Mounting
			}
			if again, _ := DraftJob(tree, files, DraftOptions{To: "jobs", Bench: c.bench, PolePairs: want.Motor.PolePairs}); !bytes.Equal(again.Files[again.JobFile], d.Files[d.JobFile]) {
				t.Error("drafted twice, the files differ")
			}
		})
	}
}

// renamed is the weir recordings with names that say nothing or lie.
func renamed(t *testing.T, names map[string]string) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	for from, to := range names {
		data, err := fs.ReadFile(os.DirFS("../testdata/demo/weir-1104"), from+".csv.gz")
		if err != nil {
			t.Fatal(err)
		}
		out["rec/"+to] = &fstest.MapFile{Data: data}
	}
	return out
}

// TestDraftDoubtsNames: a disk's run under the bare rotor's name is noticed by
// its inertia; without a rotor called bare the lightest is taken for it, and both are said.
func TestDraftDoubtsNames(t *testing.T) {
	tree := renamed(t, map[string]string{"bare-a": "alpha-a.csv.gz", "bare-b": "alpha-b.csv.gz", "disk-a": "alpha-c.csv.gz", "disk-b": "beta-a.csv.gz", "disk-c": "beta-b.csv.gz"})
	tree["rec/note.txt"] = &fstest.MapFile{Data: []byte("measured on Monday\n")}
	files, err := RecordingFiles(tree, "rec")
	if err != nil {
		t.Fatal(err)
	}
	d, err := DraftJob(tree, files, DraftOptions{PolePairs: 6})
	if err != nil {
		t.Fatal(err)
	}
	text := string(d.Files[d.JobFile])
	for _, want := range []string{
		"# left out: rec/note.txt: no rows of numbers found",
		"alpha: {turns: ccw}  # settle: the smallest inertia of all: taken for the bare rotor",
		"alpha-c: {mounting: alpha, file: rec/alpha-c.csv.gz, kind: step, supply: 7.4 V, command: 30 % -> 70 % -> 30 %}  # settle: its runs give",
		"beta: {turns: ccw, parts: [beta]}",
		"drag: {form: square}",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the draft does not say %q:\n%s", want, text)
		}
	}
	if len(d.Faults) > 0 {
		t.Errorf("faults: %v", d.Faults)
	}
}

func TestRotorName(t *testing.T) {
	for stem, want := range map[string]string{
		"p3x2-a-levels": "p3x2-a", "p3x2-a-b": "p3x2-a", "bare-a": "bare", "bare-rundown": "bare", "disk_step_1": "disk", "disk2-c": "disk2",
		"disk-7.4v-a": "disk", "Prop 5x4 steady": "prop-5x4", "a": "a", "step": "step",
	} {
		if got := rotorName(stem); got != want {
			t.Errorf("%s: got %s, want %s", stem, got, want)
		}
	}
}

// TestTriageSaysWhatIsMissing: a job half recorded names what must still be
// recorded, and lets no rotor off that has no load curve.
func TestTriageSaysWhatIsMissing(t *testing.T) {
	whole := os.DirFS("..")
	tree := fstest.MapFS{}
	for _, dir := range []string{"jobs", "jobs/benches", "jobs/parts", "testdata/demo/weir-1104"} {
		entries, err := fs.ReadDir(whole, dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if e.IsDir() || strings.HasPrefix(e.Name(), "p3x2-a-levels") || strings.HasPrefix(e.Name(), "disk-b") {
				continue
			}
			data, err := fs.ReadFile(whole, dir+"/"+e.Name())
			if err != nil {
				t.Fatal(err)
			}
			tree[dir+"/"+e.Name()] = &fstest.MapFile{Data: data}
		}
	}
	got, err := TriageJob(tree, "jobs/weir-1104.yaml")
	if err != nil {
		t.Fatal(err)
	}
	open := map[string]string{}
	for _, r := range got.Rotors {
		open[r.Rotor] = strings.Join(r.Open, "; ")
		if r.MayComeOff != (r.Rotor == "bare") {
			t.Errorf("%s: may come off %v: %v", r.Rotor, r.MayComeOff, r.Open)
		}
	}
	disk, prop := open["bare+weir-1104-disk+weir-1104-screws"], open["bare+prop-3x2.A"]
	if !strings.Contains(disk, "disk-b is declared and not recorded") || !strings.Contains(disk, "2 conditions") {
		t.Errorf("disk: %s", disk)
	}
	if !strings.Contains(prop, "no steady recording") || !strings.Contains(prop, "p3x2-a-levels is declared and not recorded") {
		t.Errorf("propeller: %s", prop)
	}
	for _, r := range got.Recordings {
		if r.Name == "disk-sweep" && r.Judgement.Verdict != spin.RecordAgain {
			t.Errorf("the hot sweep: %s", r.Judgement.Verdict)
		}
		if r.Name == "bare-a" && r.Judgement.Verdict != spin.Use {
			t.Errorf("bare-a: %+v", r.Judgement.Items)
		}
	}
}
