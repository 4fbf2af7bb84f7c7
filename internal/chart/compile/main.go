// Command compile turns the chart library into the interpreter's own code, which
// is built into the program beside the text: compile LIBRARY CODE.
package main

import (
	"fmt"
	"os"

	"github.com/google/renameio/v2"

	"thawline/internal/chart"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: compile LIBRARY CODE")
		os.Exit(2)
	}
	if err := compile(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func compile(from, to string) error {
	library, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	code, err := chart.Compile(library)
	if err != nil {
		return fmt.Errorf("%s: %w", from, err)
	}
	return renameio.WriteFile(to, code, 0o644)
}
