package main

import (
	"strings"
	"testing"
)

// A race on the demonstration's large motor: shared errors leave the difference
// far sharper than either time.
func TestRace(t *testing.T) {
	code, stdout, stderr := invoke("race", "--root", root, root+"/jobs/sluice-4006.yaml", "--of", "punch")
	if code != 0 || !strings.HasPrefix(stdout, "punch\n   1  prop-13x4.A ") || !strings.Contains(stdout, "\n  prop-13x4.A before prop-13x5.A by (1.") ||
		!strings.Contains(stdout, "the former is quicker with a probability of above 0.999\n") {
		t.Errorf("exit %d\n%s%s", code, stdout, stderr)
	}
}

// What is wrong with a call is said whole, before anything is computed.
func TestRaceCalls(t *testing.T) {
	job := root + "/jobs/sluice-4006.yaml"
	for _, c := range []struct{ args, want string }{
		{"prop-9x9/A|--supply|22.2 V|--duty|70 %|--speed|2600 rpm -> 3700 rpm", "prop-9x9/A: got a part that none of the jobs mounts or asks for; want one of theirs, or a file that ends in .yaml\n"},
		{"--duty|70 %", "got a question and no part; want the parts to compare after the job files\n"},
		{"--of|sprint", "got no request that fits; want one under respond: in a job file, or parts with --supply, --duty and --speed\n"},
		{"prop-13x4/A|--supply|22.2 V|--duty|70|--speed|2600 rpm -> 3700 rpm", `command line: duty: got "70" without a unit; want 1, % or ppm (ratio) (did you mean "70 1" or "70 %"?)` + "\n"},
		{"prop-13x4/A|--supply|22.2 V|--duty|70 %|--speed|2600 rpm -> 2600 rpm", `command line: speed: got "2600 rpm -> 2600 rpm"; want two different values` + "\n"},
	} {
		code, stdout, stderr := invoke(append([]string{"race", "--root", root, job}, strings.Split(c.args, "|")...)...)
		if code != 2 || stdout != "" || stderr != c.want {
			t.Errorf("%s: exit %d\ngot  %swant %s%s", c.args, code, stderr, c.want, stdout)
		}
	}
}

// A propeller of the small motor on the middle one, and on its own: of one bench's torque scale nothing is left in either.
func TestRaceOnto(t *testing.T) {
	question := []string{"race", "--root", root, root + "/jobs/weir-1104.yaml", "prop-3x2/A", "--supply", "14.8 V", "--duty", "55 %", "--speed", "9300 rpm -> 11100 rpm"}
	code, stdout, stderr := invoke(append(question, "--onto", root+"/jobs/weir-1104.yaml", "--onto", root+"/jobs/penstock-2207.yaml", "--extrapolate", "yes")...)
	if code != 0 || !strings.Contains(stdout, "\n   1  weir-1104 prop-3x2.A ") || !strings.Contains(stdout, "\n   2  penstock-2207 prop-3x2.A ") {
		t.Errorf("exit %d\n%s%s", code, stdout, stderr)
	}
	// One answer is none to compare, and nothing is covered on a motor that turns slowly.
	code, stdout, stderr = invoke(append(question, "--onto", root+"/jobs/sluice-4006.yaml")...)
	if code != 1 || !strings.Contains(stdout, "bare+prop-3x2.A on the motor of sluice-4006: no speed is covered by the loads of all three rotors") {
		t.Errorf("exit %d\n%s%s", code, stdout, stderr)
	}
	if code, stdout, stderr = invoke(append(question, "--onto", root+"/jobs/none.yaml")...); code != 2 || stdout != "" || !strings.Contains(stderr, "none.yaml") {
		t.Errorf("exit %d\n%s%s", code, stdout, stderr)
	}
}
