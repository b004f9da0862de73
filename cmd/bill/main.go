// Command bill writes what a copy of drywire has to come with: the notices of all that is linked
// into it, and a bill of materials in CycloneDX 1.6 JSON (ECMA-424). It asks the go command for the
// modules that the program is made of.
//
//	go run ./cmd/bill -o DIR
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"drywire/cmd/internal/files"
)

func main() {
	out := flag.String("o", ".", "the `DIR` to write NOTICES.txt and bill.cdx.json into")
	flag.Parse()
	if err := run(*out); err != nil {
		fmt.Fprintln(os.Stderr, "bill:", err)
		os.Exit(1)
	}
}

func run(folder string) error {
	list, err := parts()
	if err != nil {
		return err
	}
	bill, err := bill(list)
	if err != nil {
		return err
	}
	o, err := files.Into(files.Disk{}, folder)
	if err != nil {
		return err
	}
	defer o.Abort()
	if err := errors.Join(o.Text("NOTICES.txt", notices(list)), o.Text("bill.cdx.json", bill)); err != nil {
		return err
	}
	return o.Publish()
}

// part is a module that is linked into the program.
type part struct {
	path, version, sum string
	texts              []string // of its licences and notices
	licences           []string // SPDX identifiers
}

// parts is the modules of the program but its own, and Go itself, by their paths.
func parts() ([]part, error) {
	const format = `{{with .Module}}{{if not .Main}}{{.Path}}|{{.Version}}|{{.Sum}}|{{.Dir}}{{end}}{{end}}`
	cmd := exec.Command("go", "list", "-deps", "-f", format, "drywire/cmd/drywire")
	cmd.Stderr = os.Stderr
	text, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	lines := strings.Fields(string(text))
	slices.Sort(lines)
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("go env: %w", err)
	}
	lines = append(slices.Compact(lines), "std|"+runtime.Version()+"||"+strings.TrimSpace(string(root)))
	var list []part
	for _, line := range lines {
		f := strings.Split(line, "|")
		p := part{path: f[0], version: f[1], sum: f[2]}
		if err := p.read(f[3]); err != nil {
			return nil, err
		}
		list = append(list, p)
	}
	return list, nil
}

// read reads a module's licences and notices, wherever in it they are.
func (p *part) read(folder string) error {
	names, err := filepath.Glob(filepath.Join(folder, "*"))
	if err != nil {
		return err
	}
	if p.path != "std" {
		deeper, err := filepath.Glob(filepath.Join(folder, "*", "*"))
		if err != nil {
			return err
		}
		names = append(names, deeper...)
	}
	for _, name := range names {
		stem, _, _ := strings.Cut(strings.ToUpper(filepath.Base(name)), ".")
		if !slices.ContainsFunc([]string{"LICENSE", "LICENCE", "COPYING", "NOTICE", "PATENTS", "UNLICENSE", "FTL"}, func(s string) bool { return strings.HasPrefix(stem, s) }) {
			continue
		}
		if info, err := os.Stat(name); err != nil || info.IsDir() || filepath.Ext(name) == ".go" {
			continue
		}
		text, err := files.Read(files.Disk{}, name, 1<<20)
		if err != nil {
			return err
		}
		p.texts = append(p.texts, strings.TrimSpace(string(text)))
		if id := licence(text); id != "" && !slices.Contains(p.licences, id) {
			p.licences = append(p.licences, id)
		}
	}
	if len(p.licences) == 0 {
		return fmt.Errorf("%s %s: no licence is known of it; look into %s", p.path, p.version, folder)
	}
	return nil
}

// licence is the SPDX identifier of a text, by words that no other licence has; "" for none.
func licence(text []byte) string {
	words := strings.ToLower(strings.Join(strings.Fields(string(text)), " "))
	for _, l := range []struct {
		id   string
		says []string
	}{
		{"Apache-2.0", []string{"apache license version 2.0"}},
		{"CC-BY-4.0", []string{"attribution 4.0 international"}},
		{"CC-BY-3.0", []string{"creative commons attribution 3.0"}},
		{"OFL-1.1", []string{"sil open font license version 1.1"}},
		{"MPL-2.0", []string{"mozilla public license version 2.0"}},
		{"CC0-1.0", []string{"cc0 1.0 universal"}},
		{"Unlicense", []string{"free and unencumbered software released into the public domain"}},
		{"BSD-3-Clause", []string{"redistribution and use in source and binary forms", "endorse or promote"}},
		{"BSD-2-Clause", []string{"redistribution and use in source and binary forms"}},
		{"ISC", []string{"permission to use, copy, modify, and", "distribute this software for any purpose with or without fee is hereby granted"}},
		{"MIT", []string{"permission is hereby granted, free of charge", "the above copyright notice and this permission notice"}},
		{"FTL", []string{"the freetype license"}}, // of a choice of two
	} {
		if !slices.ContainsFunc(l.says, func(s string) bool { return !strings.Contains(strings.ReplaceAll(words, ", version", " version"), s) }) {
			return l.id
		}
	}
	return ""
}

func notices(list []part) []byte {
	var b bytes.Buffer
	fmt.Fprintln(&b, "Drywire holds parts of others, under these terms.")
	for _, p := range list {
		fmt.Fprintf(&b, "\n%s\n%s %s (%s)\n\n", strings.Repeat("-", 72), p.path, p.version, strings.Join(p.licences, ", "))
		fmt.Fprintln(&b, strings.Join(p.texts, "\n\n"))
	}
	return b.Bytes()
}

// bill is the parts as CycloneDX 1.6.
func bill(list []part) ([]byte, error) {
	type object = map[string]any
	components := []object{}
	for _, p := range list {
		var licences []object
		for _, id := range p.licences {
			licences = append(licences, object{"license": object{"id": id}})
		}
		where := "pkg:golang/" + p.path + "@" + p.version
		c := object{"type": "library", "name": p.path, "version": p.version, "purl": where, "bom-ref": where, "licenses": licences}
		if p.sum != "" {
			c["properties"] = []object{{"name": "go:sum", "value": p.sum}}
		}
		components = append(components, c)
	}
	text, err := json.MarshalIndent(object{
		"bomFormat": "CycloneDX", "specVersion": "1.6", "version": 1,
		"metadata":   object{"component": object{"type": "application", "name": "drywire", "bom-ref": "drywire"}},
		"components": components,
	}, "", "  ")
	return append(text, '\n'), err
}
