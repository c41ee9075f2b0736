//go:build external && unix

package pipeline

import "testing"

// The long forms of the tests of crashes and damage: minutes, not seconds.

func TestLongKilled(t *testing.T) { killAtRandom(t, 200) }

func TestLongEveryWriteFails(t *testing.T) { failInTurn(t, 1) }

func TestLongFlippedBits(t *testing.T) { flipBits(t, 1000) }

// The keys of the demonstration are those of testdata/methods.txt: else the test of
// forgotten methods would compare nothing. Rewrite it: go test ./pipeline -run Methods -update.
func TestLongMethodsFileIsCurrent(t *testing.T) {
	now, known := methodsNow(t), methodsKnown(t)
	for key := range now {
		if _, ok := known[key]; !ok {
			t.Errorf("%s is not in %s", key, methodsFile)
		}
	}
	if len(now) != len(known) {
		t.Errorf("%d keys, %s has %d", len(now), methodsFile, len(known))
	}
}
