package mishap

import (
	"bytes"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
)

func TestCaught(t *testing.T) {
	var told error
	var none []int
	var beside sync.WaitGroup
	beside.Go(Caught("count", func(err error) { told = err }, func() { none[len(none)]++ }))
	beside.Wait()
	var fault *Error
	if !errors.As(told, &fault) || !strings.Contains(told.Error(), "could not count: ") || !strings.Contains(told.Error(), "index out of range") {
		t.Fatalf("told: %v", told)
	}
	var log bytes.Buffer
	fault.Log(slog.New(slog.NewTextHandler(&log, nil)))
	if !strings.Contains(log.String(), "TestCaught") {
		t.Errorf("no stack: %s", &log)
	}
	if err := Do("read", func() { panic("the name of a client") }); err == nil || strings.Contains(err.Error(), "client") {
		t.Errorf("the panic is quoted: %v", err)
	}
	if err := Do("read", func() {}); err != nil {
		t.Error(err)
	}
	beside.Go(Caught("end", func(err error) { t.Error(err) }, runtime.Goexit))
	beside.Wait()
}

// served are the packages, and files, whose work runs in the server.
var served = []string{"../web/*.go", "../web/*/*.go", "../store/*.go", "../store/internal/*/*.go", "../../cmd/waycall/review.go"}

// A panic in any goroutine ends the process, so everything that the server starts
// beside a request is caught.
func TestAllIsCaught(t *testing.T) {
	starts := 0
	for _, pattern := range served {
		names, err := filepath.Glob(pattern)
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(names), err)
		}
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			files := token.NewFileSet()
			tree, err := parser.ParseFile(files, name, text, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(tree, func(n ast.Node) bool {
				var work ast.Expr
				switch n := n.(type) {
				case *ast.GoStmt: // go mishap.Caught(...)()
					work = n.Call.Fun
				case *ast.CallExpr: // x.Go(mishap.Caught(...)), time.AfterFunc(d, mishap.Caught(...))
					if f, ok := n.Fun.(*ast.SelectorExpr); ok && slices.Contains([]string{"Go", "AfterFunc"}, f.Sel.Name) && len(n.Args) > 0 {
						work = n.Args[len(n.Args)-1]
					}
				}
				if work == nil {
					return true
				}
				starts++
				if call, ok := work.(*ast.CallExpr); ok {
					if f, ok := call.Fun.(*ast.SelectorExpr); ok && f.Sel.Name == "Caught" {
						return true
					}
				}
				t.Errorf("%s: this work is not caught", files.Position(n.Pos()))
				return true
			})
		}
	}
	if starts < 8 {
		t.Errorf("only %d places start work; is it started in another way?", starts)
	}
}
