// Package board writes the pages an office looks at: the fleet's readiness, a vessel, the form for an incident, and
// what was predicted beside what was observed. Each page is a function of what was read; reading, signing in and the
// guard of the forms are the api's.
//
// The pages work without script. With it the board follows changes; the script and the style are files of the same
// origin, so that the policy they are sent with allows nothing inline.
package board

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
)

//go:embed *.gohtml
var files embed.FS

//go:embed board.css
var style string

//go:embed board.js
var script []byte

//go:embed mark.svg
var icon []byte

// Root is where the pages are served.
const Root = "/board"

// Policy is the Content-Security-Policy of every page here: nothing inline, nothing from elsewhere, in no frame.
const Policy = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Style is the style sheet.
func Style() []byte { return []byte(drawing.Style() + style) }

// Script is the script that follows changes.
func Script() []byte { return script }

// Icon is the sign of the pages: a canopy.
func Icon() []byte { return icon }

// Frame is what every page has around it.
type Frame struct {
	Key       string // name of the key signed in with; empty: nobody is signed in
	FormToken string // goes with every form that changes something
	Cautions  []string
	Here      string // the page in the menu; see template menu
}

var pages = template.Must(template.New("board").Funcs(template.FuncMap{
	"root": func() string { return Root }, "mark": mark, "verdict": verdictWords, "severity": severityWords, "plain": plain, "capital": capital,
	"day": day, "when": when, "stamp": stamp, "infield": inField, "degrees": measure.Degrees, "anchor": anchor,
	"metres": metres, "force": force, "drift": drift, "wind": measure.Knots, "windspeed": units.Speed, "wave": units.Wave, "percent": percent, "drifts": drifts, "forces": forces, "position": position, "clock": clockTime, "cite": cite, "alike": alike, "first": first, "rest": rest, "fault": faultOf,
}).ParseFS(files, "*.gohtml"))

func write(name string, contents any) ([]byte, error) {
	var out bytes.Buffer
	if err := pages.ExecuteTemplate(&out, name, contents); err != nil {
		return nil, fmt.Errorf("render the page %s: %w", name, err)
	}
	return out.Bytes(), nil
}

// SignIn is the page a key is given on.
type SignIn struct {
	Frame
	Next  string // where to go on to
	Wrong string // what was wrong with the key given; empty: nothing was given
}

// HTML writes the page. The key that was given is not written back.
func (p SignIn) HTML() ([]byte, error) { return write("sign-in", p) }

// Trouble is the page of an error.
type Trouble struct {
	Frame
	Status    int
	Title     string
	Detail    string
	Fixes     []string
	RequestID string
}

// HTML writes the page.
func (p Trouble) HTML() ([]byte, error) { return write("trouble", p) }
