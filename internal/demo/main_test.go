package demo

import (
	"os"
	"testing"
)

// smallDir is the folder of the tour that the tests share.
var smallDir string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "nightreel-demo-")
	if err != nil {
		panic(err)
	}
	smallDir = dir
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}
