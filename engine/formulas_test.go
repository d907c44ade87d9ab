package engine_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// flags that a row of FORMULAS.md may carry.
var formulaFlags = []string{"published", "computed check", "common practice, no source", "fitted on the virtual cohort", "from memory"}

// formula is one row of a table of FORMULAS.md.
type formula struct {
	names        []string // exported functions and methods, such as trend.Line.PredictAt
	file, source string
	checks       []string // tests
	flag, line   string
}

var quoted = regexp.MustCompile("`([^`]+)`")

func inBackticks(cell string) []string {
	var out []string
	for _, m := range quoted.FindAllStringSubmatch(cell, -1) {
		out = append(out, m[1])
	}
	return out
}

func formulas(t *testing.T) []formula {
	text, err := os.ReadFile("FORMULAS.md")
	if err != nil {
		t.Fatal(err)
	}
	var out []formula
	isTable := false
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		switch {
		case !strings.HasPrefix(line, "|"):
			isTable = false
			continue
		case strings.HasPrefix(line, "| name | what | file | source | check | flag |"):
			isTable = true
			continue
		case !isTable || strings.HasPrefix(line, "|---"):
			continue
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		if len(cells) != 6 {
			t.Errorf("%d cells: %s", len(cells), line)
			continue
		}
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		out = append(out, formula{inBackticks(cells[0]), cells[2], cells[3], inBackticks(cells[4]), cells[5], line})
	}
	return out
}

// goFiles parses the Go files of a folder: with tests only, or without any.
func goFiles(t *testing.T, dir string, tests bool) []*ast.File {
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	var out []*ast.File
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") != tests {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, f)
	}
	return out
}

// functions are the exported functions of files, methods of exported types
// as Type.Method.
func functions(files []*ast.File) []string {
	var out []string
	for _, f := range files {
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || !fn.Name.IsExported() {
				continue
			}
			name := fn.Name.Name
			if fn.Recv != nil {
				of := fn.Recv.List[0].Type
				if star, ok := of.(*ast.StarExpr); ok {
					of = star.X
				}
				id, ok := of.(*ast.Ident)
				if !ok || !id.IsExported() {
					continue
				}
				name = id.Name + "." + name
			}
			out = append(out, name)
		}
	}
	return out
}

// Every exported function of the packages of formulas has a row in FORMULAS.md,
// and every row names a file, tests that exist, a source and a flag.
func TestFormulasAreListed(t *testing.T) {
	rows := formulas(t)
	listed := map[string]int{}
	for _, r := range rows {
		for _, name := range r.names {
			listed[name]++
		}
	}
	exported := map[string]bool{}
	for _, pkg := range []string{"physiology", "trend", "strength"} {
		for _, name := range functions(goFiles(t, pkg, false)) {
			name = pkg + "." + name
			exported[name] = true
			if listed[name] != 1 {
				t.Errorf("%s has %d rows", name, listed[name])
			}
		}
	}
	if len(exported) < 40 || len(rows) < 60 {
		t.Fatalf("found only %d functions and %d rows", len(exported), len(rows))
	}
	for name := range listed {
		if !exported[name] {
			t.Errorf("there is no %s", name)
		}
	}
}

func TestFormulaRows(t *testing.T) {
	tests := map[string]bool{} // by folder and name
	err := filepath.WalkDir(".", func(dir string, d os.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			for _, name := range functions(goFiles(t, dir, true)) {
				tests[filepath.ToSlash(dir)+" "+name] = true
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	fromMemory := map[string]bool{}
	for _, r := range formulas(t) {
		text, err := os.ReadFile(r.file)
		if err != nil {
			t.Errorf("%v: %s", err, r.line)
			continue
		}
		if r.source == "" || !slices.Contains(formulaFlags, r.flag) || len(r.checks) == 0 {
			t.Errorf("no source, flag or check: %s", r.line)
		}
		for _, check := range r.checks {
			if !tests[filepath.ToSlash(filepath.Dir(r.file))+" "+check] {
				t.Errorf("%s has no test %s", filepath.Dir(r.file), check)
			}
		}
		if r.flag == "from memory" {
			fromMemory[r.file] = true
			if !strings.Contains(string(text), "from memory") {
				t.Errorf("%s does not say that it is from memory: %s", r.file, r.line)
			}
		}
	}
	for _, pkg := range []string{"physiology", "trend", "strength"} {
		names, _ := filepath.Glob(pkg + "/*.go")
		for _, name := range names {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(string(text), "from memory") && !fromMemory[filepath.ToSlash(name)] {
				t.Errorf("%s has a value from memory that FORMULAS.md does not flag so", name)
			}
		}
	}
}
