package ingest

import (
	"math"
	"testing"
)

// spinUp is a speed from 300 to 2000 rad/s sampled at 5 kHz, as read by readOut at each time.
func spinUp(readOut func(t float64, speed func(float64) float64) float64) (time, x []float64) {
	speed := func(t float64) float64 { return 2000 - 1700*math.Exp(-math.Max(0, t-0.1)/0.05) }
	for i := range 2500 {
		t := float64(i) * 0.0002
		time, x = append(time, t), append(x, math.Round(readOut(t, speed)))
	}
	return time, x
}

// Telemetry that keeps its interval is held; a reading that waits for the next edge, sooner
// at high speed, is not, whether the number of edges is known or not.
func TestHeld(t *testing.T) {
	time, x := spinUp(func(t float64, speed func(float64) float64) float64 { return speed(math.Floor(t/0.004) * 0.004) })
	near(t, "telemetry", held(time, x, 0), 0.004, 1e-9)
	near(t, "telemetry, seven edges", held(time, x, 7), 0.004, 1e-9)
	angle, last, edge := 0.0, 0.0, 0
	time, x = spinUp(func(t float64, speed func(float64) float64) float64 {
		angle += speed(t) * 0.0002
		if n := int(angle * 4 / (2 * math.Pi)); n > edge {
			edge, last = n, speed(t)
		}
		return last
	})
	near(t, "four edges, unknown", held(time, x, 0), 0, 0)
	near(t, "four edges", held(time, x, 4), 0, 0)
	time, x = spinUp(func(t float64, speed func(float64) float64) float64 { return speed(t) })
	near(t, "fresh", held(time, x, 0), 0, 0)
}
