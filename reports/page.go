package reports

import (
	"embed"
	"fmt"
	"hash/fnv"
	"html/template"
	"io"
	"strings"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
)

// Page is what a job's page shows.
type Page struct {
	Job string
	// File is the job file, Motor its specimen.
	File     string
	Motor    string
	Poles    int
	Sessions []Session
	Numbers  []spin.Number
	Checks   []spin.Check
	Warnings []spin.Warning
	Waivers  []Waiver
	Rotors   []spin.RotorInertia
	Parts    []spin.Part
	// Recordings in the order of the job file.
	Recordings []spin.Recording
	Choice     spin.Choice
	Responses  []spin.Response
	Figures    []figure.Figure
	Inputs     []File
	Steps      []Step
}

// Session is one session in words.
type Session struct{ Name, Bench, Calibration, WeighedAfter, Date, By, Controller, Air string }

// Waiver as the job file has it.
type Waiver struct{ Check, Subject, UpTo, Because, By, Until string }

// File is an input with its SHA-256 and size.
type File struct {
	Name, SHA256 string
	Size         int64
}

// Step is one line of the log.
type Step struct {
	N                            int
	Stage, Subject, Method, Hash string
	From                         []int
}

//go:embed job.html index.html audit.html style.css script.js catalogue.js
var files embed.FS

var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"anchor": Anchor, "plot": Plot, "legend": legend, "inertia": Inertia, "gauge": gauge, "amount": amount, "short": short,
	"share": share, "rel": relative, "dict": dict, "drawing": diskDrawing, "strip": strip, "rpm": rpm, "word": word, "num": number,
}).ParseFS(files, "*.html"))

func asset(name string) string {
	b, err := files.ReadFile(name)
	if err != nil {
		panic("reports: " + err.Error())
	}
	return string(b)
}

// style and script are ours, hence trusted.
func style() template.CSS            { return template.CSS(asset("style.css")) }
func script(name string) template.JS { return template.JS(asset(name)) }
func rpm(w float64) string           { return label(quantity.Rpm(w), 0) }

// WriteJob writes a job's page: one file, nothing fetched.
func WriteJob(w io.Writer, p Page) error {
	return pages.ExecuteTemplate(w, "job.html", newJobView(p))
}

// Anchor is an id for the page that names the same thing everywhere: letters,
// digits, dot and dash stay, everything else becomes "_" with a hash that keeps
// two names apart.
func Anchor(kind, name string) string {
	plain := true
	clean := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '.', r == '-':
			return r
		}
		plain = false
		return '_'
	}, name)
	if len(clean) > 80 {
		clean, plain = clean[:80], false
	}
	if !plain {
		h := fnv.New32a()
		io.WriteString(h, name)
		clean += fmt.Sprintf("-%08x", h.Sum32())
	}
	return kind + "-" + clean
}
