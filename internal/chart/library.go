package chart

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"runtime"
)

// assets holds the chart library where `make assets` has fetched it; the
// placeholder beside it keeps the pattern from matching nothing.
//
//go:embed assets/echarts*
var assets embed.FS

const (
	textAt = "assets/echarts.min.js"
	// compiledAt is where `make assets` leaves the library as the interpreter's own
	// code, which starts in a fifth of the time that reading the text takes.
	compiledAt = "assets/echarts.bytecode"
	// librarySHA256 is the SHA-256 of dist/echarts.min.js of npm's echarts 5.6.0.
	librarySHA256 = "bf4a223524e40b77c304bec67e1222cf551f14880cf42c69dc046558e11c07b1"
	// interpreter is the module, of that version in go.mod, whose code it is: code of
	// another version may mean something else.
	interpreter = "github.com/buke/quickjs-go v0.7.5"
	// compiledOf is the first line of code that this program may run.
	compiledOf = librarySHA256 + " " + interpreter + " " + runtime.GOARCH + "\n"
)

// ErrNoLibrary says that the program was built without the chart library.
var ErrNoLibrary = errors.New("the chart library is not in this program: run `make assets` and build again, or name a file echarts.min.js of version 5.6.0 in THAWLINE_ECHARTS")

// library is the chart library: its text and, where that was built in, the
// interpreter's own code of it.
type library struct {
	text string
	code []byte
}

// readLibrary reads the library that was built in, or the file that the
// environment names, and checks it.
func readLibrary() (library, error) {
	var text []byte
	var err error
	from := textAt
	if path := os.Getenv("THAWLINE_ECHARTS"); path != "" {
		from = path
		if text, err = os.ReadFile(path); err != nil {
			return library{}, fmt.Errorf("read the chart library named in THAWLINE_ECHARTS: %w", err)
		}
	} else if text, err = assets.ReadFile(from); err != nil {
		return library{}, ErrNoLibrary
	}
	if err := checked(text); err != nil {
		return library{}, fmt.Errorf("%s: %w", from, err)
	}
	return library{string(text), compiled()}, nil
}

// checked refuses a library that is not the one that is wanted.
func checked(text []byte) error {
	sum := sha256.Sum256(text)
	if found := hex.EncodeToString(sum[:]); found != librarySHA256 {
		return fmt.Errorf("the chart library has SHA-256 %s, wanted %s (echarts 5.6.0): run `make assets` again", found, librarySHA256)
	}
	return nil
}

// Compile turns the text of the chart library into the interpreter's own code,
// under a first line that says of which text, by which interpreter and for which
// processor.
func Compile(text []byte) ([]byte, error) {
	if err := checked(text); err != nil {
		return nil, err
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	m, err := empty()
	if err != nil {
		return nil, err
	}
	defer m.close()
	code, err := m.context.Compile(string(text))
	if err != nil {
		return nil, fmt.Errorf("compile the chart library: %w", err)
	}
	return append([]byte(compiledOf), code...), nil
}

// compiled is the library's code that was built in, or nothing where there is
// none that this program may run: then the text is read.
func compiled() []byte {
	all, err := assets.ReadFile(compiledAt)
	if err != nil {
		return nil
	}
	return codeOf(all)
}

// codeOf is what follows the line that this program may run, or nothing behind
// another.
func codeOf(all []byte) []byte {
	code, found := bytes.CutPrefix(all, []byte(compiledOf))
	if !found {
		return nil
	}
	return code
}
