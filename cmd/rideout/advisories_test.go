package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Of echo v4 no version is without published faults (Go vulnerability database, November 2026): GO-2026-6838, 6839, 6840 and
// 6842 are in its package middleware (proxy, body dump, decompression), GO-2026-6875 in the proxy, GO-2026-6872 in the client's
// address by Context.RealIP. Earlier ones, of files, JSONP and the scheme of a request, are fixed in the version used; those parts stay unused.
var (
	echosFaulty = []string{"github.com/labstack/echo/v4/middleware"}
	faultyCalls = []string{
		"RealIP", "ExtractIPFromXFFHeader", "ExtractIPFromRealIPHeader", "Scheme", "JSONP", "JSONPBlob", "JSONPretty",
		"Static", "StaticFS", "StaticDirectoryHandler", "Attachment", "Inline", "File", "FileFS",
	}
)

func TestEchosPartsWithFaultsAreNotUsed(t *testing.T) {
	t.Parallel()
	list := exec.Command("go", "list", "-buildvcs=false", "-deps", "./cmd/rideout")
	list.Dir = "../.."
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	linked := strings.Fields(string(out))
	if !slices.Contains(linked, "github.com/labstack/echo/v4") {
		t.Error("echo is not among what is linked: this test looks in the wrong place")
	}
	for _, p := range echosFaulty {
		if slices.Contains(linked, p) {
			t.Errorf("%s is linked", p)
		}
	}
	extractor := false
	for _, file := range goFiles(t, "../../api") {
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			called, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			extractor = extractor || called.Sel.Name == "ExtractIPDirect"
			if slices.Contains(faultyCalls, called.Sel.Name) {
				t.Errorf("%s uses %s", file, called.Sel.Name)
			}
			return true
		})
	}
	if !extractor {
		t.Error("no extractor of the client's address is set, so that headers would be believed")
	}
}

// goFiles are those of one package that go into the program.
func goFiles(t *testing.T, dir string) (files []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if name := e.Name(); strings.HasSuffix(name, ".go") && !strings.HasSuffix(name, "_test.go") {
			files = append(files, filepath.Join(dir, name))
		}
	}
	if len(files) < 10 {
		t.Fatalf("%s has %d files", dir, len(files))
	}
	return files
}

// What deploy/SECURITY.md says is held by the tests it names, which are there.
func TestSecurityNamesItsTests(t *testing.T) {
	t.Parallel()
	var said []byte
	for _, file := range []string{"deploy/SECURITY.md", "DEVELOPERS.md", ".ci/advisories"} {
		text, err := os.ReadFile(filepath.Join("../..", file))
		if err != nil {
			t.Fatal(err)
		}
		said = append(said, text...)
	}
	there := map[string]bool{}
	err := filepath.WalkDir("../..", func(path string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		source, err := os.ReadFile(path)
		for _, m := range declaredTest.FindAllSubmatch(source, -1) {
			there[string(m[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	named := namedTest.FindAllString(string(said), -1)
	if len(named) < 100 {
		t.Fatalf("%d tests are named: this test looks in the wrong place", len(named))
	}
	for _, name := range named {
		if !there[name] {
			t.Errorf("%s is named and is no test", name)
		}
	}
}

var (
	declaredTest = regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)\w+)\(`)
	namedTest    = regexp.MustCompile(`\b(?:Test|Fuzz)[A-Z]\w+`)
)
