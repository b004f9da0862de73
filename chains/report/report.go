// Package report writes the result of an experiment as one HTML page: the question, the takes with
// a player that switches between them at the same musical instant, tables, plots, the chain file,
// and what to be careful with. The page is a single file that loads nothing from anywhere, opens
// from a disk, prints, and stays under 25 MB.
//
// It measures and renders nothing; whoever calls Write brings the results. It keeps no second truth
// either: a number on the page is one of the results, rounded.
//
// Plots are SVG in the page's own colours and font (canvas.go). A general plotting library brings
// its own fonts and colours, a library that draws in the browser would show nothing on paper or
// without scripts. The script only adds a line to read values at. Every plot is drawn twice, for a
// desk and for a telephone, since an SVG that is scaled down takes its letters with it.
//
// Sound is FLAC of 16 bits, dithered (sound.go): exact, and smaller than WAV. A lossy format would
// be a tenth of that, and would add differences of its own to the ones that are to be heard.
//
// Start reading at Page (what goes in), then view.go (how it is worded), page.html (where it
// stands), page.js (the player).
package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the page's parts
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"regexp"

	"drywire/chains/experiment"
	"drywire/chains/internal/sketch"
)

// Page is what the page shows. Only Comparison has to be there, with at least one take; what else
// is missing is left out of the page. Slices with one entry per take go by the order of
// Comparison.Takes, and have nil where there is nothing for a take.
type Page struct {
	Version    string // of the program
	Command    string // that makes the page again
	Comparison *experiment.Comparison

	Sounds    []Sound // one per take, of one length and rate; none: a page without a player
	Part      string  // a sentence on what part of the takes the sounds hold; "" for all
	ListenFor []string
	Hearing   string // what to heed before listening

	Measures  []*experiment.Measures       // one per take
	Guitar    []*experiment.ResponseReport // one per take, from the pickup to the guitar's jack
	Responses []*experiment.ResponseReport // one per take, from the pickup to the last jack
	Noise     []*experiment.NoiseReport    // one per take, at the last jack
	Pairs     []experiment.Pair            // how takes differ, two by two
	Because   []string                     // of Pairs, why: a sentence each; "" where they do not differ
	Swaps     *experiment.SwapMap          // of one take
	Remarks   []string                     // what could not be measured, and why

	ChainName string
	ChainFile string
}

// Sound is a take as it is to be heard: matched in loudness, full scale at ±1.
type Sound struct {
	Rate     int         // Hz
	Channels [][]float32 // one, or left and right
}

var (
	//go:embed page.html
	pageHTML string
	//go:embed page.css
	pageCSS string
	//go:embed page.js
	pageJS string
	//go:embed trial.js
	trialJS string
)

var page = template.Must(template.New("page").Parse(pageHTML))

// Write writes the page. The same Page gives the same bytes. The error is of a Page whose parts do
// not fit together, or w's.
func Write(w io.Writer, data Page) error {
	if err := data.check(); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	v, err := newView(data)
	if err != nil {
		return err
	}
	v.Style = template.CSS(sketch.Faces(true) + pageCSS)
	script := pageJS + trialJS
	v.Script = template.JS(script)
	sum := sha256.Sum256([]byte(script))
	// The page's own script runs, and no other; nothing is loaded, nothing sent. Styles may stand
	// inline, for no other page's do.
	v.Policy = "default-src 'none'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; style-src 'unsafe-inline'; font-src data:; img-src data:; base-uri 'none'; form-action 'none'"
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err = w.Write(joined(b.Bytes()))
	return err
}

var (
	// what of a page is no text for people: markup, and what stands as it was written
	markup = regexp.MustCompile(`(?s)<script.*?</script>|<style.*?</style>|<pre.*?</pre>|<code>.*?</code>|<[^>]*>`)
	// a number and its unit, with a space that a line may break at
	parted = regexp.MustCompile(`(\d) ((?:%|[kMmµn]?(?:Ω|V|A|Hz|F|H|s|m|W)|dB(?:u|V|TP|\(A\))?|LU(?:FS)?|min|cm|MB|LUFS)(?:[^\pL\d]|$))`)
)

// joined is a page with a no-break space between every number and its unit.
func joined(page []byte) []byte {
	var out []byte
	at := 0
	for _, m := range append(markup.FindAllIndex(page, -1), []int{len(page), len(page)}) {
		out = append(out, parted.ReplaceAll(page[at:m[0]], []byte("$1\u00a0$2"))...)
		out = append(out, page[m[0]:m[1]]...)
		at = m[1]
	}
	return out
}

// check refuses what would make a broken page.
func (p Page) check() error {
	c := p.Comparison
	if c == nil || len(c.Takes) == 0 {
		return errors.New("no takes")
	}
	n := len(c.Takes)
	for _, part := range []struct {
		what  string
		count int
	}{
		{"sounds", len(p.Sounds)}, {"measures", len(p.Measures)}, {"responses at the guitar", len(p.Guitar)}, {"responses", len(p.Responses)}, {"noise ledgers", len(p.Noise)},
	} {
		if part.count != 0 && part.count != n {
			return fmt.Errorf("%d takes and %d %s", n, part.count, part.what)
		}
	}
	for _, pair := range p.Pairs {
		if pair.A < 1 || pair.A > n || pair.B < 1 || pair.B > n {
			return fmt.Errorf("a pair of takes %d and %d, of %d", pair.A, pair.B, n)
		}
	}
	if len(p.Because) != 0 && len(p.Because) != len(p.Pairs) {
		return fmt.Errorf("%d pairs and %d reasons", len(p.Pairs), len(p.Because))
	}
	for _, r := range c.Cables {
		if r.B < 1 || r.B > n {
			return fmt.Errorf("cables to take %d, of %d", r.B, n)
		}
	}
	total := 0
	for _, s := range p.Sounds {
		if n := len(s.Channels); n != 1 && n != 2 {
			return fmt.Errorf("a sound of %d channels", n)
		}
		if s.Rate <= 0 || len(s.Channels[0]) == 0 {
			return errors.New("a sound of no length")
		}
		for _, x := range s.Channels {
			if s.Rate != p.Sounds[0].Rate || len(x) != len(p.Sounds[0].Channels[0]) {
				return errors.New("sounds of different rates or lengths")
			}
			total += len(x)
		}
	}
	if total > mostSamples {
		return fmt.Errorf("%d samples of sound: too much for one page", total)
	}
	return nil
}

// jsonOf is data for the script, safe inside an element: encoding/json writes <, > and & as
// escapes.
func jsonOf(v any) (template.JS, error) {
	b, err := json.Marshal(v)
	return template.JS(b), err
}
