package demo

import (
	"fmt"
	"math"
	"strings"

	"spinledger/cmd/virtualbench/rig"
)

func machines() []machine {
	screws := rig.Fasteners{Count: 4, MassKg: 0.31e-3, DiameterM: 3.8e-3, PitchM: 12e-3}
	small := rig.Fasteners{Count: 2, MassKg: 0.05e-3, DiameterM: 2e-3, PitchM: 6e-3}
	return []machine{
		{
			job: "weir-1104", bench: "loft", class: rig.Class11(), hz: 2000, slowHz: 250, screws: small,
			props:   []prop{{"prop-3x2/A", "prop-3x2", 76, 1.4, 1, 1, 3}},
			dialect: commaDialect, benchText: loft, unit: func(nm float64) string { return fmt.Sprintf("%.4f mN·m", 1e3*nm) },
			pack: zipped, ending: ".gz",
		},
		{
			job: "sluice-4006", bench: "shed", class: rig.Class40(), hz: 1000, slowHz: 250, screws: screws, second: true,
			props:   []prop{{"prop-13x4/A", "prop-13x4", 330, 18, 1, 1, 2}, {"prop-13x5/A", "prop-13x5", 330, 21, 1.15, 1.12, 2}},
			dialect: semicolonDialect, benchText: shed, unit: func(nm float64) string { return fmt.Sprintf("%.3f gf", nm/0.1/9.80665*1e3) },
			pack: zstandard, ending: ".zst",
		},
		{
			job: "penstock-2207", bench: "annex", class: rig.Class22(), hz: 1000, slowHz: 250, screws: screws,
			props:   []prop{{"prop-5x4/A", "prop-5x4", 127, 4.2, 1, 1, 3}},
			dialect: tabDialect, benchText: annex, unit: func(nm float64) string { return fmt.Sprintf("%.1f", countsPerNm*nm+zeroCounts) },
			pack: zipped, ending: ".gz",
		},
	}
}

// must panics: the columns below are fixed texts of this package.
func must(c rig.Column, err error) rig.Column {
	if err != nil {
		panic(err)
	}
	return c
}

func commaDialect(t rig.Trace, m rig.Motor) rig.Dialect {
	return rig.Dialect{Columns: []rig.Column{
		must(rig.ColumnOf(rig.Time, "t", "ms")), rig.ElectricalSpeed("erpm", m.PolePairs), must(rig.ColumnOf(rig.Torque, "torque", "mN·m")),
		must(rig.ColumnOf(rig.DutyCommand, "duty", "%")), must(rig.ColumnOf(rig.Voltage, "volts", "V")), must(rig.ColumnOf(rig.Current, "amps", "A")),
	}}
}

// named gives a column another unit text in the unit row.
func named(c rig.Column, unit string) rig.Column {
	c.Unit = unit
	return c
}

func semicolonDialect(t rig.Trace, m rig.Motor) rig.Dialect {
	force := rig.TorqueForce("kraft", 0.1)
	force.Decimals = 3
	return rig.Dialect{
		Columns: []rig.Column{
			must(rig.ColumnOf(rig.Time, "zeit", "s")), named(rig.ElectricalSpeed("drehzahl_el", m.PolePairs), "rpm"), force,
			must(rig.ColumnOf(rig.Thrust, "schub", "gf")), must(rig.ColumnOf(rig.DutyCommand, "gas", "%")), must(rig.ColumnOf(rig.Voltage, "spannung", "V")), must(rig.ColumnOf(rig.Current, "strom", "A")),
		},
		Delimiter: ";", DecimalComma: true, UnitRow: true, CRLF: true, Comments: []string{"bench shed, channel card 2"},
	}
}

// The annex's converter hands out counts; only its calibration makes a torque of them.
const countsPerNm, zeroCounts = 1e5, 1200

func tabDialect(t rig.Trace, m rig.Motor) rig.Dialect {
	speed := must(rig.ColumnOf(rig.Speed, "", "rad/s"))
	return rig.Dialect{
		Columns: []rig.Column{
			must(rig.ColumnOf(rig.Time, "", "us")), rig.TorqueCounts("", countsPerNm, zeroCounts), speed,
			must(rig.ColumnOf(rig.Current, "", "mA")), must(rig.ColumnOf(rig.Voltage, "", "mV")), must(rig.ColumnOf(rig.DutyCommand, "", "%")),
		},
		Delimiter: "\t", NoHeader: true,
	}
}

const repeatability = `repeatability:
  - {up_to: 2 g·cm2, run: 0.30 %, mounting: 0.05 %, dof: 30}
  - {up_to: 20 g·cm2, run: 0.15 %, mounting: 0.05 %, dof: 30}
  - {run: 0.12 %, mounting: 0.05 %, dof: 30}
`

func loft(m rig.Motor, cal string) string {
	return `format: 1
bench: loft
gravity: 9.8100(2) m/s2
logger:
  dialect: {delimiter: comma, decimal: point, header_rows: 1}
  converter: point
  channels:
    time: {column: t, unit: ms}
    speed: {column: erpm, unit: rpm, reading: electrical, timing: period}
    torque: {column: torque, unit: mN·m}
    throttle: {column: duty, unit: "%"}
    voltage: {column: volts, unit: V}
    current: {column: amps, unit: A}
` + repeatability + cal
}

func shed(m rig.Motor, cal string) string {
	return `format: 1
bench: shed
gravity: 9.8100(2) m/s2
logger:
  dialect: {delimiter: semicolon, decimal: comma, header_rows: 1, unit_rows: 1, comment: "#"}
  converter: point
  channels:
    time: {column: zeit, unit: s}
    speed: {column: drehzahl_el, unit: rpm, reading: electrical, timing: period}
    force: {column: kraft, unit: gf, arm: 100.00(5) mm}
    thrust: {column: schub, unit: gf}
    throttle: {column: gas, unit: "%"}
    voltage: {column: spannung, unit: V}
    current: {column: strom, unit: A}
` + repeatability + cal
}

func annex(m rig.Motor, cal string) string {
	return `format: 1
bench: annex
gravity: 9.8100(2) m/s2
logger:
  dialect: {delimiter: tab, header_rows: 0}
  converter: point
  channels:
    time: {column: 1, unit: us}
    torque: {column: 2, unit: count}
    speed: {column: 3, unit: rad/s, reading: mechanical, timing: period}
    current: {column: 4, unit: mA}
    voltage: {column: 5, unit: mV}
    throttle: {column: 6, unit: "%"}
` + repeatability + cal
}

func diskYAML(id, role string, d rig.Disk, weighedKg float64) string {
	return fmt.Sprintf(`%s:
  reference: {role: %s}
  material: {density: %.0f(11) kg/m3, yield: 240 MPa}
  layers: [{outer_diameter: %.3f(15) mm, bore_diameter: %.3f(15) mm, thickness: %.3f(10) mm}]
  mass: %.4f(50) g
`, id, role, d.DensityKgM3, 1e3*d.OuterM, 1e3*d.BoreM, 1e3*d.ThicknessM, 1e3*weighedKg)
}

func screwsYAML(id string, f rig.Fasteners) string {
	return fmt.Sprintf("%s: {fastener: {count: %d, mass_each: %.4f(20) g, diameter: %.1f mm, pitch_diameter: %.1f mm}}\n",
		id, f.Count, 1e3*f.MassKg, 1e3*f.DiameterM, 1e3*f.PitchM)
}

func propellerFile() string {
	b := &strings.Builder{}
	b.WriteString("format: 1\n")
	for _, m := range machines() {
		for _, p := range m.props {
			fmt.Fprintf(b, "%s: {model: %s, propeller: {diameter: %.0f mm, blades: %d}, mass: %.1f(1) g}\n", p.id, p.model, p.diameterMM, p.blades, p.massG)
		}
	}
	return b.String()
}

func jobYAML(m machine, mount, recs string) string {
	return fmt.Sprintf(`format: 1
job: %s
parts: [parts/%s.yaml, parts/propellers.yaml]
motor: {specimen: %s/A, pole_pairs: %d}
session:
  bench: benches/%s.yaml
  calibration: 2026-03-02
  date: 2026-03-05
  by: IS
  air: {temperature: 21.5 °C, pressure: 1010 hPa, humidity: 45 %%}
mountings:
%srecordings:
%srespond:
%s`, m.job, m.job, m.job, m.class.Motor.PolePairs, m.bench, mount, recs, respondYAML(m))
}

// respondYAML asks how quickly the propellers spin up at the nominal condition:
// from two thirds of the speed that the duty holds to a share of the final
// speed, and how long they coast.
func respondYAML(m machine) string {
	var parts []string
	for _, p := range m.props {
		parts = append(parts, p.id)
	}
	list := strings.Join(parts, ", ")
	c := m.class
	// Idle and loaded speeds in rpm, rounded to hundreds.
	round := func(share float64) float64 {
		return 100 * math.Round(share*c.StepDuty*c.Supply.VoltageV/c.Motor.KtNmPerA*30/math.Pi/100)
	}
	return fmt.Sprintf("  - {name: punch, parts: [%s], supply: %.4g V, duty: %.0f %%, speed: %.0f rpm -> %.0f rpm}\n", list, c.Supply.VoltageV, 100*c.StepDuty, round(0.50), round(0.70)) +
		fmt.Sprintf("  - {name: settle, parts: [%s], supply: %.4g V, duty: %.0f %%, from: %.0f rpm, to_final: 90 %%}\n", list, c.Supply.VoltageV, 100*c.StepDuty, round(0.50)) +
		fmt.Sprintf("  - {name: spin-down, parts: [%s], speed: %.0f rpm -> %.0f rpm}\n", list, round(0.70), round(0.40))
}
