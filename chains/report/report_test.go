package report

import (
	"bytes"
	"crypto/md5"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/mewkiz/flac"

	"drywire/chains/measures"
)

func write(t *testing.T, p Page) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// element is an element of a page with its attributes.
type element struct {
	name string
	attr map[string]string
	in   []string // the names of those around it
	text string   // directly in it
}

var (
	scripts = regexp.MustCompile(`(?s)(<script[^>]*>).*?</script>`)
	styles  = regexp.MustCompile(`(?s)(<style[^>]*>).*?</style>`)
)

// elements reads a page. What is neither opened nor closed as it should be is an error.
func elements(t *testing.T, page string) []*element {
	t.Helper()
	page = styles.ReplaceAllString(scripts.ReplaceAllString(page, "$1</script>"), "$1</style>")
	page = strings.TrimPrefix(page, "<!doctype html>")
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var list, open []*element
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := &element{name: token.Name.Local, attr: map[string]string{}}
			for _, o := range open {
				e.in = append(e.in, o.name)
			}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			list, open = append(list, e), append(open, e)
		case xml.EndElement:
			if len(open) == 0 || open[len(open)-1].name != token.Name.Local {
				t.Fatalf("</%s> closes nothing", token.Name.Local)
			}
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				open[len(open)-1].text += string(token)
			}
		}
	}
	if len(open) > 0 {
		t.Fatalf("<%s> is not closed", open[len(open)-1].name)
	}
	return list
}

func count1(list []*element, name string) int {
	n := 0
	for _, e := range list {
		if e.name == name {
			n++
		}
	}
	return n
}

func TestStructure(t *testing.T) {
	for name, p := range map[string]Page{"full": made(), "bare": {Comparison: made().Comparison}} {
		t.Run(name, func(t *testing.T) {
			list := elements(t, write(t, p))
			for _, one := range []string{"h1", "main", "header", "footer", "title", "style"} {
				if n := count1(list, one); n != 1 {
					t.Errorf("%d <%s>, want 1", n, one)
				}
			}
			if count1(list, "table") < 2 {
				t.Error("tables are missing")
			}
			ids, levels := map[string]bool{}, []string{}
			tables, captions := count1(list, "table"), count1(list, "caption")
			for _, e := range list {
				if id := e.attr["id"]; id != "" {
					if ids[id] {
						t.Errorf("two elements are called %q", id)
					}
					ids[id] = true
				}
				if e.name == "th" && e.attr["scope"] == "" {
					t.Errorf("a head of a table has no scope: %q", e.text)
				}
				if len(e.name) == 2 && e.name[0] == 'h' && e.name[1] >= '1' && e.name[1] <= '6' {
					levels = append(levels, e.name)
				}
				for _, a := range []string{"src", "href", "action"} {
					if to := e.attr[a]; to != "" && !strings.HasPrefix(to, "#") {
						t.Errorf("<%s %s=%q> leads out of the page", e.name, a, to)
					}
				}
				for a := range e.attr {
					if strings.HasPrefix(a, "on") {
						t.Errorf("<%s> has a script in its attribute %s", e.name, a)
					}
				}
			}
			if tables != captions {
				t.Errorf("%d tables, %d captions", tables, captions)
			}
			for k := 1; k < len(levels); k++ {
				if levels[k][1] > levels[k-1][1]+1 {
					t.Errorf("an %s follows an %s", levels[k], levels[k-1])
				}
			}
			for _, e := range list {
				for _, a := range []string{"for", "aria-labelledby"} {
					if to := e.attr[a]; to != "" && !ids[to] {
						t.Errorf("<%s %s=%q> names nothing", e.name, a, to)
					}
				}
			}
		})
	}
}

// hostile puts a text into every string that the page shows.
func hostile(v reflect.Value, text string) {
	switch v.Kind() {
	case reflect.String:
		if v.CanSet() {
			v.SetString(text)
		}
	case reflect.Pointer:
		hostile(v.Elem(), text)
	case reflect.Slice:
		for k := range v.Len() {
			hostile(v.Index(k), text)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[measures.Figure]() {
			return // a text there means that there is no value
		}
		for k := range v.NumField() {
			if name := v.Type().Field(k).Name; name != "MatchedBy" {
				hostile(v.Field(k), text)
			}
		}
	}
}

func TestEverythingIsEscaped(t *testing.T) {
	plain, p := made(), made()
	const text = `</script></style><script>alert("x")</script><img src=x onerror=alert(1)>&'"` + "`${1}"
	hostile(reflect.ValueOf(&p).Elem(), text)
	if p.Comparison.Takes[0].Name != text || p.Pairs[0].Sentence != text || p.Noise[0].Blocks[0].Name != text {
		t.Fatal("the text did not get in")
	}
	page := write(t, p)
	got, want := elements(t, page), elements(t, write(t, plain))
	for _, name := range []string{"script", "style", "img", "h1"} {
		if g, w := count1(got, name), count1(want, name); g != w {
			t.Errorf("%d <%s>, want %d: a text became an element", g, name, w)
		}
	}
	if n := strings.Count(page, `alert("x")`); n != 0 {
		t.Errorf("the text stands %d times as it is", n)
	}
	for _, e := range got {
		if e.name == "h1" && e.text != text {
			t.Errorf("the title became %q", e.text)
		}
	}
	// What is between two tags of a script is data that can be read.
	for _, data := range regexp.MustCompile(`(?s)<script type="application/json"[^>]*>(.*?)</script>`).FindAllStringSubmatch(page, -1) {
		if !json.Valid([]byte(data[1])) {
			t.Errorf("no JSON: %.100s", data[1])
		}
	}
}

func TestSameBytes(t *testing.T) {
	if a, b := write(t, made()), write(t, made()); a != b {
		t.Error("two pages of the same differ")
	}
}

// The policy lets the page's own script run, and names no place to load from.
func TestPolicy(t *testing.T) {
	page := write(t, made())
	all := regexp.MustCompile(`(?s)<script>(.*?)</script>`).FindAllStringSubmatch(page, -1)
	if len(all) != 1 {
		t.Fatalf("%d scripts that run, want 1", len(all))
	}
	sum := sha256.Sum256([]byte(all[0][1]))
	for _, e := range elements(t, page) {
		if policy := e.attr["content"]; e.attr["http-equiv"] == "Content-Security-Policy" {
			if want := "script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "';"; !strings.Contains(policy, want) {
				t.Errorf("the policy %q does not hold %q", policy, want)
			}
			if !strings.HasPrefix(policy, "default-src 'none';") || strings.Contains(policy, "http") || strings.Contains(policy, "*") {
				t.Errorf("the policy %q lets something in", policy)
			}
			return
		}
	}
	t.Error("no policy")
}

// A page as full of sound as it may be, of noise that no coder makes smaller, is under 25 MB.
func TestSize(t *testing.T) {
	if testing.Short() {
		t.Skip("encodes minutes of noise")
	}
	p := made()
	rng := rand.New(rand.NewPCG(1, 2))
	noise := make([]float32, Longest(len(p.Sounds), 1))
	for k := range noise {
		noise[k] = float32(2*rng.Float64() - 1)
	}
	for k := range p.Sounds {
		p.Sounds[k].Channels = [][]float32{noise}
	}
	n := len(write(t, p))
	t.Logf("%d takes of %.0f s of noise: %.1f MB", len(p.Sounds), float64(len(noise))/testRate, float64(n)/1e6)
	if n > 25e6 || n < 19e6 {
		t.Errorf("the page is %.1f MB, want under 25 and no less than the 20 of its sound", float64(n)/1e6)
	}
	for k := range p.Sounds {
		p.Sounds[k].Channels = [][]float32{append(noise, 0, 0)}
	}
	if err := Write(io.Discard, p); err == nil {
		t.Error("more sound than the page may hold is taken")
	}
}

// decode reads a FLAC file, and checks it against its own checksum.
func decode(t *testing.T, file []byte) [][]int32 {
	t.Helper()
	s, err := flac.New(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	x := make([][]int32, s.Info.NChannels)
	sum := md5.New()
	for {
		f, err := s.ParseNext()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for c := range x {
			x[c] = append(x[c], f.Subframes[c].Samples...)
		}
	}
	for k := range x[0] {
		for c := range x {
			if err := binary.Write(sum, binary.LittleEndian, int16(x[c][k])); err != nil {
				t.Fatal(err)
			}
		}
	}
	if s.Info.NSamples != uint64(len(x[0])) || !bytes.Equal(sum.Sum(nil), s.Info.MD5sum[:]) || s.Info.SampleRate != testRate {
		t.Errorf("%d samples at %d Hz of checksum %x; the file says %d and %x", len(x[0]), s.Info.SampleRate, sum.Sum(nil), s.Info.NSamples, s.Info.MD5sum)
	}
	return x
}

func TestSoundIsLossless(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, n := range []int{1, 15, 16, 4095, 4096, 4097, 4111, 4112, 8193, 30000} {
		for name, value := range map[string]func(k int) int32{
			"noise": func(int) int32 { return int32(rng.IntN(65536)) - 32768 }, "ends": func(k int) int32 { return 32767 - 65535*int32(k%2) },
			"silence": func(int) int32 { return 0 }, "tone": func(k int) int32 { return int32(20000 * math.Sin(float64(k)/40)) },
		} {
			x := make([]int32, n)
			for k := range x {
				x[k] = value(k)
			}
			other := slices.Clone(x)
			slices.Reverse(other)
			file, err := encode([][]int32{slices.Clone(x), slices.Clone(other)}, testRate)
			if err != nil {
				t.Fatal(err)
			}
			if got := decode(t, file); len(got) != 2 || !slices.Equal(got[0], x) || !slices.Equal(got[1], other) {
				t.Errorf("%d samples of %s in two channels come back changed", n, name)
			}
			if file, err = encode([][]int32{slices.Clone(x)}, testRate); err != nil {
				t.Fatal(err)
			}
			if got := decode(t, file); len(got) != 1 || !slices.Equal(got[0], x) {
				t.Errorf("%d samples of %s come back changed", n, name)
			}
			if name == "silence" && len(file) > 60+n/50 {
				t.Errorf("%d samples of silence take %d bytes", n, len(file))
			}
		}
	}
}

// Dither of two equal distributions of one step makes an error of mean 0 and variance 1/12 + 2/12
// steps² (Journal of the AES 40(5), 355-375, 1992, from memory), whatever the signal is; here at a
// fifth of a step, where rounding alone would leave nothing.
func TestDither(t *testing.T) {
	const n = 400000
	x := make([]float32, n)
	for k := range x {
		x[k] = 0.2 / 32768
	}
	sum, power := 0.0, 0.0
	for _, v := range quantise(x) {
		e := float64(v) - 0.2
		sum += e
		power += e * e
	}
	mean, variance := sum/n, power/n
	if math.Abs(mean) > 0.004 { // five standard errors of the mean: 5·0.5/sqrt(n)
		t.Errorf("mean error %.4f steps, want 0", mean)
	}
	if math.Abs(variance-0.25) > 0.004 {
		t.Errorf("variance of the error %.4f steps², want 0.25", variance)
	}
	if got := quantise([]float32{2, -2}); got[0] != 32767 || got[1] != -32768 {
		t.Errorf("twice full scale becomes %v", got)
	}
}

// Every number has its unit: in its column's head, or with it.
func TestUnits(t *testing.T) {
	v, err := newView(made())
	if err != nil {
		t.Fatal(err)
	}
	counts := []string{"steps", "most iterations"} // of things that the head names
	tables := []table{v.Levels, v.Spectrum.Table, v.Response.Table, v.Guitar.Table, *v.Losses, *v.Solver, *v.PairTable, *v.Swaps.Table}
	tables = append(tables, v.Jacks...)
	if bare, err := newView(Page{Comparison: made().Comparison}); err != nil || bare.Nulls == nil {
		t.Fatal("no table of nulls without pairs: ", err)
	} else {
		tables = append(tables, *bare.Nulls)
	}
	withUnit := regexp.MustCompile(`^(under\x{a0})?[−\d.]+[ \x{a0}][kMm]?(Ω|dB|dBu|%)$`)
	for _, table := range tables {
		if len(table.Rows) == 0 {
			t.Errorf("table %q is empty", table.Caption)
		}
		for _, r := range table.Rows {
			if len(r.Cells)+1 != len(table.Head) {
				t.Errorf("table %q: a row of %d under a head of %d", table.Caption, len(r.Cells)+1, len(table.Head))
			}
			for k, c := range r.Cells {
				if h := table.Head[k+1]; !h.Words && h.Unit == "" && !slices.Contains(counts, h.Text) && !withUnit.MatchString(c) {
					t.Errorf("table %q, column %q: %q has no unit", table.Caption, h.Text, c)
				}
			}
		}
	}
	for _, n := range v.Noise {
		for _, b := range n.Bars {
			if !withUnit.MatchString(b.Level) || !withUnit.MatchString(b.Share) {
				t.Errorf("noise: %q, %q", b.Level, b.Share)
			}
		}
	}
	for _, k := range v.Takes {
		if !withUnit.MatchString(k.Levels) {
			t.Errorf("true level %q", k.Levels)
		}
	}
	page := write(t, made())
	for _, bad := range []string{"NaN", "Inf", "<nil>", "%!", "-0.0", "−0.0<"} {
		if strings.Contains(scripts.ReplaceAllString(styles.ReplaceAllString(page, ""), ""), bad) {
			t.Errorf("the page says %q", bad)
		}
	}
}

func TestSentences(t *testing.T) {
	for _, c := range []struct{ sentence, want string }{
		{`"b" against "a": a clear difference: duller (-3 dB above 2 kHz).`, "A clear difference: duller (−3\u00a0dB above 2\u00a0kHz)."},
		{`Not measurable: silence.`, "Not measurable: silence."},
		{``, ``},
	} {
		if got := said(c.sentence, "b", "a"); got != c.want {
			t.Errorf("%q becomes %q, want %q", c.sentence, got, c.want)
		}
	}
}

// No two of 36 takes are drawn alike.
func TestTakesAreTold(t *testing.T) {
	seen := map[string]bool{}
	for k := range 36 {
		seen[sample(k)] = true
	}
	if len(seen) != 36 {
		t.Errorf("%d different lines for 36 takes", len(seen))
	}
}

func TestMovedBlocks(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"a b c d", "a b c d", ""},
		{"a b c d", "d a b c", "d"},
		{"a b c d", "b c d a", "a"},
		{"a b c", "c b a", "c b"},
		{"a b c", "a x b c", "x"},
		{"fuzz buffer echo", "buffer fuzz echo", "buffer"},
	} {
		var got []string
		for _, b := range strings.Fields(c.to) {
			if movedBlocks(strings.Fields(c.from), strings.Fields(c.to))[b] {
				got = append(got, b)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s to %s: moved %v, want %s", c.from, c.to, got, c.want)
		}
	}
}

// A point of a curve is drawn where its value is on the axes.
func TestPlotIsToScale(t *testing.T) {
	c := curves{label: "x, dB", hz: []float64{20, 200, 2000, 20000}, least: 20, takes: []curve{{name: "a", db: []float64{-30, -10, -20, -30}}}}
	drawings := c.draw()
	low, high := c.span()
	for _, d := range drawings {
		want := "M"
		for k, f := range c.hz {
			x := d.Left + (d.Right-d.Left)*math.Log(f/20)/math.Log(1000)
			y := d.Bottom - (d.Bottom-d.Top)*(c.takes[0].db[k]-low)/(high-low)
			if k > 0 {
				want += "L"
			}
			want += fmt.Sprintf("%.1f %.1f", x, y)
		}
		line := regexp.MustCompile(`stroke="var\(--take-1\)"[^>]* d="([^"]*)"`).FindStringSubmatch(d.Body)
		if line == nil {
			t.Fatal("no curve")
		}
		numbers := regexp.MustCompile(`[\d.]+`)
		got, exact := numbers.FindAllString(line[1], -1), numbers.FindAllString(want, -1)
		if len(got) != len(exact) {
			t.Fatalf("%s: %s, want %s", d.Class, line[1], want)
		}
		for k := range got {
			var a, b float64
			fmt.Sscan(got[k], &a)
			fmt.Sscan(exact[k], &b)
			if math.Abs(a-b) > 0.2 { // of a pixel
				t.Errorf("%s: %s, want %s", d.Class, line[1], want)
				break
			}
		}
	}
}

func TestBrokenPagesAreRefused(t *testing.T) {
	for name, spoil := range map[string]func(*Page){
		"no comparison":   func(p *Page) { p.Comparison = nil },
		"no takes":        func(p *Page) { p.Comparison.Takes = nil },
		"a sound too few": func(p *Page) { p.Sounds = p.Sounds[1:] },
		"two lengths":     func(p *Page) { p.Sounds[1].Channels[0] = p.Sounds[1].Channels[0][1:] },
		"two rates":       func(p *Page) { p.Sounds[1].Rate = 44100 },
		"no length": func(p *Page) {
			p.Sounds = []Sound{{48000, [][]float32{{}}}, {48000, [][]float32{{}}}, {48000, [][]float32{{}}}}
		},
		"no channel":       func(p *Page) { p.Sounds[2].Channels = nil },
		"a ledger too few": func(p *Page) { p.Noise = p.Noise[1:] },
		"a pair of none":   func(p *Page) { p.Pairs[0].B = 7 },
		"a reason too few": func(p *Page) { p.Because = make([]string, len(p.Pairs)-1) },
	} {
		p := made()
		spoil(&p)
		if err := Write(io.Discard, p); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// What makes a difference stands beside its verdict, with nothing of it taken for HTML.
func TestBecauseStandsByItsPair(t *testing.T) {
	p := made()
	p.Because = make([]string, len(p.Pairs))
	p.Because[len(p.Pairs)-1] = "Because <b> comes behind a: +3.0 dB of treble becomes 0 dB."
	list := elements(t, write(t, p))
	var said []string
	for _, e := range list {
		if e.attr["class"] == "because" {
			said = append(said, e.text)
		}
	}
	if want := "Because <b> comes behind a: +3.0\u00a0dB of treble becomes 0\u00a0dB."; len(said) != 1 || said[0] != want {
		t.Errorf("%q, and not %q", said, want)
	}
}

// What could not be measured is left out, and the page is whole without it.
func TestHoles(t *testing.T) {
	p := made()
	p.Measures[0], p.Noise[1], p.Responses[2], p.Guitar = nil, nil, nil, nil
	p.Measures[1].Jacks[0].Values[1].Figure = none("silence")
	p.Comparison.Takes[2].Matched, p.Comparison.Takes[2].After, p.Comparison.Takes[2].LeveldBu = false, nil, nil
	page := write(t, p)
	elements(t, page)
	if !strings.Contains(page, "Take 3 is not matched") {
		t.Error("nothing is said of the silent take")
	}
}

func BenchmarkWrite(b *testing.B) {
	p := made()
	for b.Loop() {
		if err := Write(io.Discard, p); err != nil {
			b.Fatal(err)
		}
	}
}

// Parallel paths are drawn beside each other, and not as one line.
func TestPathsAreParallel(t *testing.T) {
	p := made()
	first := &p.Comparison.Takes[0]
	first.Order, first.Left, first.Right = []string{"drive", "fuzz", "buffer"}, []string{"fuzz"}, []string{"buffer"}
	v := &view{}
	v.takes(p)
	names := func(stops []stopView) (list []string) {
		for _, s := range stops {
			list = append(list, s.Name)
		}
		return list
	}
	got := [][]string{names(v.Takes[0].Flow), names(v.Takes[0].Paths[0]), names(v.Takes[0].Paths[1])}
	want := [][]string{{"guitar", "drive"}, {"left", "fuzz"}, {"right", "buffer"}}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("drawn as %v, want %v", got, want)
	}
	if len(v.Takes[1].Paths) != 0 {
		t.Errorf("a line is drawn as paths: %v", v.Takes[1].Paths)
	}
}
