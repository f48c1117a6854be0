package main

import (
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"dewcase": main})
}

// The scripts show what a person types and what comes back.
func TestWhatIsTypedGivesWhatTheScriptsSay(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "../../testdata/scripts"})
}
