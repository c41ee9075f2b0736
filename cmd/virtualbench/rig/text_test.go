package rig

import (
	"bytes"
	"strings"
	"testing"
)

func twoRows() Trace {
	return Trace{TimeS: []float64{0, 0.0005}, SpeedRadPerS: []float64{100, 104.719755}, TorqueNm: []float64{0.0125, -0.25}}
}

func TestDialects(t *testing.T) {
	speed, err := ColumnOf(Speed, "n", "rpm")
	if err != nil {
		t.Fatal(err)
	}
	ms, err := ColumnOf(Time, "t", "ms")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		d    Dialect
		want string
	}{
		{"plain", Plain(twoRows()),
			"time_s,speed_rpm,torque_Nm\n0.000000,954.93,0.012500\n0.000500,1000.00,-0.250000\n"},
		{"decimal comma, unit row, comments, CRLF, quoted, trailing", Dialect{
			Columns: []Column{ms, speed}, Delimiter: ";", DecimalComma: true, UnitRow: true, CRLF: true,
			Quoted: true, Trailing: true, Comments: []string{"loft"}, CommentMark: "% ", ByteOrder: true},
			"\ufeff% loft\r\n\"t\";\"n\";\r\n\"ms\";\"rpm\";\r\n0,000;954,93;\r\n0,500;1000,00;\r\n"},
		{"tab, electrical speed, force, counts, no header", Dialect{
			Columns:   []Column{ElectricalSpeed("e", 7), TorqueForce("f", 0.1), TorqueCounts("c", 1e5, 8000)},
			Delimiter: "\t", NoHeader: true},
			"6685\t12.75\t9250\n7000\t-254.93\t-17000\n"},
		{"missing", Dialect{Columns: []Column{ms, speed}, Missing: 1, MissingText: "NaN"}, "t,n\n0.000,NaN\n0.500,NaN\n"},
	} {
		if got := string(csv(t, twoRows(), c.d)); got != c.want {
			t.Errorf("%s:\n%q\nwant\n%q", c.name, got, c.want)
		}
	}
}

func TestDialectRefuses(t *testing.T) {
	for _, c := range []struct {
		want string
		d    Dialect
	}{
		{"no channel", Dialect{Columns: []Column{{Channel: Thrust, Name: "F", Factor: 1}}}},
		{"decimal comma", Dialect{Columns: []Column{{Channel: Time, Name: "t", Factor: 1}}, DecimalComma: true}},
		{"factor 0", Dialect{Columns: []Column{{Channel: Time, Name: "t"}}}},
	} {
		var buf bytes.Buffer
		if err := WriteText(&buf, twoRows(), c.d); err == nil || !strings.Contains(err.Error(), c.want) || buf.Len() > 0 {
			t.Errorf("want an error with %q and nothing written, got %v and %d bytes", c.want, err, buf.Len())
		}
	}
	if _, err := ColumnOf(Torque, "t", "rpm"); err == nil {
		t.Error("torque in rpm was accepted")
	}
}
