package file

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"drywire/chains"
	"drywire/chains/template"
)

// The schema that ships is the one that the tables make.
func TestSchemaFile(t *testing.T) {
	golden(t, "../chain.schema.json", string(Schema()))
}

// compiled is a validator of a schema.
func compiled(t *testing.T, schema []byte) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("urn:drywire:chain", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("urn:drywire:chain")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validate(t *testing.T, s *jsonschema.Schema, src []byte) error {
	t.Helper()
	var doc any
	if err := yaml.Unmarshal(src, &doc); err != nil {
		return err
	}
	return s.Validate(doc)
}

func TestSchemaTakesWhatParseTakes(t *testing.T) {
	s := compiled(t, schema(testKinds))
	good := []string{
		example,
		"drywire: 1\nrecording: {sample: riff}\norder: []\n",
		"drywire: 1\ntitle: 1984\nrecording: {file: a.wav, full_scale: -20 dBV, load: none, side: left}\nguitar: {pickup: {resistance: 8k, inductance: 4.4 H, capacitance: 130p}, volume: 70 %}\norder: []\n",
		"drywire: 1\nrecording: {sample: riff}\nblocks: {c: {kind: compressor, ratio: 4:1, threshold: -20 dBu}}\norder: [c]\ntakes: [{name: a, set: {c.ratio: 8, guitar.tone: 12:30 o'clock}}]\n",
	}
	for _, text := range good {
		if _, err := parse("good.yaml", []byte(text), testKinds, nil); err != nil {
			t.Errorf("Parse refuses: %v", err)
		}
		if err := validate(t, s, []byte(text)); err != nil {
			t.Errorf("the schema refuses: %v\n%s", err, text)
		}
	}
}

// The schema refuses every bad file, but for those whose mistake takes more than one key to see.
func TestSchemaRefusesWhatParseRefuses(t *testing.T) {
	s := compiled(t, schema(testKinds))
	beyond := []string{
		// what is where
		"block-unused.yaml", "blocks-missing.yaml", "tray-unknown.yaml", "keep-circle.yaml", "keep-circle-long.yaml", "order-missing.yaml", "order-unknown.yaml", "takes-no-order.yaml", "takes-off.yaml", "takes-order-unknown.yaml",
		"guitars-own.yaml", "guitars-unused.yaml", "takes-guitar.yaml", "takes-guitar-none.yaml", "split-not-last.yaml", "split-twice.yaml", "split-unknown.yaml",
		"loops-both.yaml", "loops-itself.yaml", "loops-twice.yaml", "loops-two.yaml", "loops-unknown.yaml", "presets-loop.yaml", "presets-no-switcher.yaml", "presets-set.yaml",
		"takes-loop-out.yaml", "takes-loops-none.yaml", "takes-loops-order.yaml", "takes-loops-preset.yaml", "takes-loops-twice.yaml", "takes-preset.yaml", "takes-preset-order.yaml", "power-none.yaml", "power-over.yaml", "power-polarity.yaml", "power-set-supply.yaml",
		"power-under.yaml", "power-unknown.yaml", "presets-trim.yaml",
		// the YAML behind the values
		"yaml-anchor.yaml", "yaml-tag.yaml", "yaml-merge.yaml", "yaml-documents.yaml", "yaml-directive.yaml", "yaml-question.yaml",
		"yaml-crlf.yaml", "yaml-escape.yaml", "yaml-control.yaml",
		// ranges of quantities that are text
		"recording-loud.yaml", "recording-peak-dbu.yaml", "patch-range.yaml",
	}
	files, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no files (%v)", err)
	}
	for _, name := range beyond {
		if !slices.Contains(files, filepath.Join("testdata/bad", name)) {
			t.Errorf("no file %s", name)
		}
	}
	for _, file := range files {
		src, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		err = validate(t, s, src)
		if known := slices.Contains(beyond, filepath.Base(file)); err == nil && !known {
			t.Errorf("the schema takes %s:\n%s", file, src)
		} else if err != nil && known {
			t.Errorf("%s is listed as beyond the schema, which refuses it: %v", file, err)
		}
	}
}

// Every shipped file parses, by the real list of kinds, and the schema takes it, as it takes the
// template.
func TestShippedAndTemplate(t *testing.T) {
	s := compiled(t, Schema())
	names := chains.Shipped()
	if !slices.Contains(names, "fuzz-or-buffer-first") {
		t.Fatalf("shipped: %v", names)
	}
	for _, name := range names {
		src, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		f, err := Parse(name+".yaml", src)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if f.Title == "" || f.Recording.Sample == "" {
			t.Errorf("%s: a shipped file has a title and a shipped recording", name)
		}
		if err := validate(t, s, src); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := chains.ReadShipped("fuzz-or-bufer-first.yaml"); err == nil || !strings.Contains(err.Error(), `did you mean "fuzz-or-buffer-first"?`) {
		t.Errorf("ReadShipped: %v", err)
	}

	if err := validate(t, s, template.Text("Is my wah too late?")); err != nil {
		t.Errorf("the template: %v", err)
	}
}
