package main

import (
	"os"
	"testing"

	"waycall/internal/say/bank"
)

// The natural voice is read only where it was chosen.
func TestBankIsChosen(t *testing.T) {
	t.Chdir("../..")
	chosen, usual := deskFlags{voice: "bank"}, deskFlags{voice: "espeak"}
	if _, err := os.Stat(chosen.bank()); err != nil || usual.bank() != "" {
		t.Errorf("bank %q, %v; with espeak %q", chosen.bank(), err, usual.bank())
	}
	voice, err := bank.Choose(chosen.bank(), 180, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := voice.(*bank.Voice); !ok {
		t.Errorf("a %T speaks", voice)
	}
}
