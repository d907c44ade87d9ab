package engine_test

import (
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The engine is pure: values in, values out, the same bytes every time. This
// file checks what a compiler does not: imports, goroutines, ranges over maps,
// and package variables that hold state. It sees the code of this folder and
// all below it, not what the allowed packages do, and not a write through a
// second name of a table (t := table; t[0] = 1).

const modulePath = "example.com/steelyard/engine"

// allowedImports is everything that the engine may use beside itself. None of
// it reads a clock, a file or a random number, and none returns a map.
var allowedImports = []string{"cmp", "errors", "fmt", "math", "math/bits", "slices", "sort", "strconv", "strings"}

func TestEngineIsPure(t *testing.T) {
	sources := map[string]string{} // by path below this folder
	err := filepath.WalkDir(".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch filepath.Ext(name) {
		case ".go":
			if !strings.HasSuffix(name, "_test.go") {
				text, err := os.ReadFile(name)
				sources[filepath.ToSlash(name)] = string(text)
				return err
			}
		case ".s", ".c", ".syso":
			t.Errorf("%s is not Go", name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := sources["window.go"]; !ok || len(sources) < 10 {
		t.Fatalf("found only %d files", len(sources))
	}
	for _, finding := range impurities(sources) {
		t.Error(finding)
	}
}

// impurities checks a tree of sources, keyed by their path below the engine's
// folder, and returns a sentence for each breach, in order.
func impurities(sources map[string]string) []string {
	c := &checker{fset: token.NewFileSet(), dirs: map[string][]*ast.File{}, done: map[string]*types.Package{}}
	c.std = importer.ForCompiler(c.fset, "source", nil)
	var names []string
	for name := range sources {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		f, err := parser.ParseFile(c.fset, name, sources[name], 0)
		if err != nil {
			c.findings = append(c.findings, err.Error())
			continue
		}
		dir := path.Join(modulePath, path.Dir(name))
		c.dirs[dir] = append(c.dirs[dir], f)
	}
	var dirs []string
	for dir := range c.dirs {
		dirs = append(dirs, dir)
	}
	slices.Sort(dirs)
	for _, dir := range dirs {
		if _, err := c.Import(dir); err != nil {
			c.report(token.NoPos, "%s: %v", dir, err)
		}
	}
	return c.findings
}

type checker struct {
	fset     *token.FileSet
	std      types.Importer
	dirs     map[string][]*ast.File // by import path
	done     map[string]*types.Package
	findings []string
}

func (c *checker) report(at token.Pos, format string, args ...any) {
	c.findings = append(c.findings, strings.TrimPrefix(fmt.Sprintf("%v: ", c.fset.Position(at)), "-: ")+fmt.Sprintf(format, args...))
}

// Import type-checks a package of the engine, and checks it on the way. It
// refuses what may not be imported, so that nothing else is ever loaded.
func (c *checker) Import(name string) (*types.Package, error) {
	switch p, begun := c.done[name]; {
	case p != nil:
		return p, nil
	case begun:
		return nil, fmt.Errorf("%q imports itself in a circle", name)
	}
	files, ours := c.dirs[name]
	switch {
	case !ours && slices.Contains(allowedImports, name):
		return c.std.Import(name)
	case !ours:
		return nil, fmt.Errorf("import of %q is not allowed in the engine", name)
	}
	c.done[name] = nil
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}, Defs: map[*ast.Ident]types.Object{}}
	conf := types.Config{Importer: c, Error: func(err error) { c.findings = append(c.findings, err.Error()) }}
	p, _ := conf.Check(name, c.fset, files, info) // each error was reported
	c.done[name] = p
	for _, f := range files {
		c.checkFile(f, p, info)
	}
	return p, nil
}

func (c *checker) checkFile(f *ast.File, p *types.Package, info *types.Info) {
	for _, d := range f.Decls {
		if g, ok := d.(*ast.GenDecl); ok && g.Tok == token.VAR {
			for _, s := range g.Specs {
				c.checkVar(s.(*ast.ValueSpec), info)
			}
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			c.report(n.Pos(), "go statement")
		case *ast.SelectStmt:
			c.report(n.Pos(), "select statement")
		case *ast.RangeStmt:
			if t := info.Types[n.X].Type; t != nil && isMap(t) {
				c.report(n.Pos(), "range over a map: its order differs from run to run")
			}
		case *ast.AssignStmt:
			for _, target := range n.Lhs {
				c.checkWrite(target, p, info)
			}
		case *ast.IncDecStmt:
			c.checkWrite(n.X, p, info)
		case *ast.UnaryExpr:
			if n.Op == token.AND {
				c.checkWrite(n.X, p, info)
			}
		}
		return true
	})
}

// isMap reports whether a value of type t is a map, or may be one where t is a
// type parameter.
func isMap(t types.Type) bool {
	switch t := t.(type) {
	case *types.TypeParam:
		return isMap(t.Constraint())
	case *types.Union:
		return isMap(t.Term(0).Type()) // one can only range over terms that agree
	}
	switch u := t.Underlying().(type) {
	case *types.Map:
		return true
	case *types.Interface:
		for i := range u.NumEmbeddeds() {
			if isMap(u.EmbeddedType(i)) {
				return true
			}
		}
	}
	return false
}

// checkVar refuses a package variable unless it is blank, an error, or a table:
// an array, slice or struct of constants, declared functions and tables.
func (c *checker) checkVar(s *ast.ValueSpec, info *types.Info) {
	for i, name := range s.Names {
		if name.Name == "_" {
			continue
		}
		obj := info.Defs[name]
		isError := obj != nil && types.Identical(obj.Type(), types.Universe.Lookup("error").Type())
		isTable := len(s.Values) == len(s.Names) && isConstantTable(s.Values[i], info)
		if !isError && !isTable {
			c.report(name.Pos(), "package variable %s is neither an error nor a table of constants", name.Name)
		}
	}
}

func isConstantTable(e ast.Expr, info *types.Info) bool {
	lit, ok := e.(*ast.CompositeLit)
	if !ok || info.Types[e].Type == nil {
		return false
	}
	switch info.Types[e].Type.Underlying().(type) {
	case *types.Array, *types.Slice, *types.Struct:
	default:
		return false
	}
	for _, element := range lit.Elts {
		if kv, ok := element.(*ast.KeyValueExpr); ok {
			element = kv.Value
		}
		if info.Types[element].Value == nil && !isDeclaredFunc(element, info) && !isConstantTable(element, info) {
			return false
		}
	}
	return true
}

// isDeclaredFunc reports whether e names a function of this package, as in a
// list of rules.
func isDeclaredFunc(e ast.Expr, info *types.Info) bool {
	id, ok := e.(*ast.Ident)
	if !ok {
		return false
	}
	_, ok = info.Uses[id].(*types.Func)
	return ok
}

// checkWrite refuses a write to a package variable, or taking its address.
func (c *checker) checkWrite(target ast.Expr, p *types.Package, info *types.Info) {
	for {
		switch e := target.(type) {
		case *ast.IndexExpr:
			target = e.X
		case *ast.SliceExpr:
			target = e.X
		case *ast.SelectorExpr:
			if _, isPkg := info.Uses[e.Sel].(*types.Var); isPkg && isPackageName(e.X, info) {
				c.report(e.Pos(), "write to package variable %s", e.Sel.Name)
				return
			}
			target = e.X
		case *ast.StarExpr:
			target = e.X
		case *ast.ParenExpr:
			target = e.X
		case *ast.Ident:
			if v, ok := info.Uses[e].(*types.Var); ok && v.Parent() == p.Scope() {
				c.report(e.Pos(), "write to package variable %s", e.Name)
			}
			return
		default:
			return
		}
	}
}

func isPackageName(e ast.Expr, info *types.Info) bool {
	id, ok := e.(*ast.Ident)
	if !ok {
		return false
	}
	_, ok = info.Uses[id].(*types.PkgName)
	return ok
}

// The checker is seen to fail: each source below breaks one rule, or none.
func TestPurityChecker(t *testing.T) {
	for name, c := range map[string]struct {
		source string
		want   []string // each a part of one finding, in order
	}{
		"clean": {`package a
			import ("errors"; "math"; "slices"; "strings")
			var errSome = errors.New("some")
			var table = [...]float64{1, 2.5, -3}
			var rows = []struct{ n string; v [2]int }{{"x", [2]int{1, 2}}, {n: "y"}}
			type rule struct { name string; ask func(v m) int }
			var rules = []rule{{"size", Size}}
			var _ = math.Pi
			type m map[string]int
			func Size(v m) int { return len(v) + v["x"] + len(rows) }
			func F(x []float64) (s float64) {
				for i := range 3 { s += table[i] }
				for _, v := range slices.Sorted(slices.Values(x)) { s += v }
				for _, r := range "text" { s += float64(r) }
				rows := []int{1}
				rows[0]++
				p := &rows
				(*p)[0] = 2
				return s + float64(len(strings.Fields("a b"))) + float64(len(errSome.Error()))
			}`, nil},
		"a clock":              {`package a; import "time"; func F() time.Time { return time.Now() }`, []string{`"time" is not allowed`}},
		"a renamed clock":      {`package a; import clock "time"; func F() int { return clock.Now().Day() }`, []string{`"time" is not allowed`}},
		"a dot import":         {`package a; import . "os"; var _ = Args`, []string{`"os" is not allowed`, `undefined: Args`}},
		"a blank import":       {`package a; import _ "unsafe"`, []string{`"unsafe" is not allowed`}},
		"cgo":                  {`package a; import "C"`, []string{`"C" is not allowed`}},
		"random numbers":       {`package a; import "math/rand/v2"; func F() int { return rand.Int() }`, []string{`"math/rand/v2" is not allowed`, "undefined: rand"}},
		"package maps":         {`package a; import "maps"; var _ = maps.Keys[map[int]int]`, []string{`"maps" is not allowed`}},
		"the service":          {`package a; import "example.com/steelyard/service/store"; var _ store.Scope`, []string{`"example.com/steelyard/service/store" is not allowed`}},
		"a lookalike":          {`package a; import "example.com/steelyard/enginex"; var _ enginex.T`, []string{`"example.com/steelyard/enginex" is not allowed`}},
		"a missing subpackage": {`package a; import "example.com/steelyard/engine/nowhere"; var _ nowhere.T`, []string{`"example.com/steelyard/engine/nowhere" is not allowed`}},
		"a goroutine":          {`package a; func F() { go func() {}() }`, []string{"go statement"}},
		"a select":             {`package a; func F(c chan int) { select { case <-c: } }`, []string{"select statement"}},
		"a range over a map":   {`package a; func F(m map[string]float64) (s float64) { for _, v := range m { s += v }; return }`, []string{"range over a map"}},
		"a range over a named map": {`package a; type T map[int]int; type U = T; func g() U { return nil }
			func F() { for range g() {} }`, []string{"range over a map"}},
		"a range over a map of a type parameter": {`package a; func F[M ~map[int]int](m M) { for range m {} }`, []string{"range over a map"}},
		"a range over a map of a constraint":     {`package a; type c interface{ ~map[int]int }; func F[M interface{ comparable2; c }](m M) { for range m {} }; type comparable2 interface{ any }`, []string{"range over a map"}},
		"a range over a map in a struct":         {`package a; type T struct{ m map[int]int }; func F(t []T) { for k := range t[0].m { _ = k } }`, []string{"range over a map"}},
		"a counter":                              {`package a; var calls int; func F() { calls++ }`, []string{"package variable calls is neither", "write to package variable calls"}},
		"a cache":                                {`package a; var cache = map[int]int{}; func F() { cache[1] = 2 }`, []string{"package variable cache is neither", "write to package variable cache"}},
		"a map of constants":                     {`package a; var table = map[int]int{1: 2}`, []string{"package variable table is neither"}},
		"a computed table":                       {`package a; func f() int { return 1 }; var table = []int{1, f()}`, []string{"package variable table is neither"}},
		"a function variable":                    {`package a; var hook = func() {}`, []string{"package variable hook is neither"}},
		"a function literal in a table":          {`package a; var rules = []func(){func() {}}`, []string{"package variable rules is neither"}},
		"a function variable in a table":         {`package a; var hook func(); var rules = []func(){hook}`, []string{"package variable hook is neither", "package variable rules is neither"}},
		"a pointer":                              {`package a; var p = &[]int{1}`, []string{"package variable p is neither"}},
		"a concrete error type":                  {`package a; type E struct{ n int }; func (*E) Error() string { return "" }; var e = &E{}`, []string{"package variable e is neither"}},
		"two variables of one call":              {`package a; func f() (int, int) { return 1, 2 }; var a, b = f()`, []string{"package variable a is neither", "package variable b is neither"}},
		"a table written to":                     {`package a; var table = [2]int{1, 2}; func F() { table[1] = 3 }`, []string{"write to package variable table"}},
		"a field of a table written to":          {`package a; var table = []struct{ v [2]int }{{}}; func F() { table[0].v[1] += 3 }`, []string{"write to package variable table"}},
		"the address of a table":                 {`package a; var table = [2]int{1, 2}; func F() *int { return &table[0] }`, []string{"write to package variable table"}},
		"an error replaced":                      {`package a; import "errors"; var errX = errors.New("x"); func F() { errX = nil }`, []string{"write to package variable errX"}},
		"another package's table": {`package a; import "example.com/steelyard/engine/b"; func F() { b.Table[0] = 1 }`,
			[]string{"write to package variable Table"}},
		"not Go":              {`package a; func {`, []string{"expected"}},
		"does not type-check": {`package a; func F() int { return "x" }`, []string{"cannot use"}},
	} {
		t.Run(name, func(t *testing.T) {
			got := impurities(map[string]string{"a/a.go": c.source, "b/b.go": "package b; var Table = []int{1}"})
			for i := range max(len(got), len(c.want)) {
				switch {
				case i >= len(got):
					t.Errorf("not found: %s", c.want[i])
				case i >= len(c.want) && len(c.want) > 0 && strings.HasPrefix(c.want[0], "expected"):
					// A parser may say more than one thing.
				case i >= len(c.want):
					t.Errorf("found beyond what is wrong: %s", got[i])
				case !strings.Contains(got[i], c.want[i]):
					t.Errorf("found %s, want %s", got[i], c.want[i])
				}
			}
		})
	}
	circle := impurities(map[string]string{
		"a/a.go": `package a; import "example.com/steelyard/engine/b"; var _ = b.X`,
		"b/b.go": `package b; import "example.com/steelyard/engine/a"; const X = 1; var _ = a.X`,
	})
	if len(circle) == 0 || !strings.Contains(circle[0], "in a circle") {
		t.Errorf("a circle of imports: %q", circle)
	}
	if found := impurities(map[string]string{"a/a.go": "package a\n\nfunc F() {\n\tgo F()\n}\n"}); len(found) != 1 || found[0] != "a/a.go:4:2: go statement" {
		t.Errorf("a finding names its place: %s", strconv.Quote(strings.Join(found, "; ")))
	}
}
