package rig_test

import (
	"bytes"
	"fmt"
	"log"
	"math"

	"spinledger/cmd/virtualbench/rig"
)

// One step recording as CSV bytes, with what was true.
func Example() {
	class := rig.Class22()
	errors := rig.Draw(rig.Usual(), 1)
	disk, _ := errors.Disk(class.Disk)
	rotor := class.Motor.Rotor("disk", disk.DiskPart("disk-46"))
	bench := errors.Bench(rig.NominalBench(2000))
	plan := rig.StepPlan(class.Conditions(), class.NominalSteps(rotor, 1))

	trace, truth, err := rig.Record(bench, class.Motor, rotor, plan, 1)
	if err != nil {
		log.Fatal(err)
	}
	csv, err := trace.Text(rig.Plain(trace))
	if err != nil {
		log.Fatal(err)
	}
	head, _, _ := bytes.Cut(csv, []byte("\n"))
	fmt.Printf("%s\n", head)
	up := truth.Transitions[0]
	fmt.Printf("%d transitions, the first from duty %.1f to %.1f, J %.1f g·cm²\n",
		len(truth.Transitions), up.FromDuty, up.ToDuty, math.Round(truth.Inertia*1e8)/10)
	// Output:
	// time_s,speed_rpm,torque_Nm,thrust_N,voltage_V,current_A,duty_percent,temperature_C
	// 2 transitions, the first from duty 0.3 to 0.7, J 60.5 g·cm²
}
