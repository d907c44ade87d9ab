// Command vulngate reads what govulncheck says (-format json) from standard
// input and fails on a vulnerability that the code reaches and nobody has looked
// at. Those that were looked at stand in a file, one a line:
//
//	GO-2026-0001 2026-11-26 why it is accepted, and until what
//
// A line that matches nothing is only told: another toolchain may have it mended.
package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"time"
)

// message is the part of govulncheck's output that counts.
type message struct {
	Finding *struct {
		OSV          string `json:"osv"`
		FixedVersion string `json:"fixed_version"`
		Trace        []struct {
			Module   string `json:"module"`
			Function string `json:"function"`
		} `json:"trace"`
	} `json:"finding"`
}

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: govulncheck -format json ./... | vulngate accepted-file")
		os.Exit(2)
	}
	if err := run(os.Args[1], os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "vulngate:", err)
		os.Exit(1)
	}
}

func run(accepted string, in io.Reader, out io.Writer) error {
	reasons, err := read(accepted)
	if err != nil {
		return err
	}
	found, err := reached(in)
	if err != nil {
		return err
	}
	var errs []error
	for _, id := range slices.Sorted(maps.Keys(found)) {
		if reason, ok := reasons[id]; ok {
			fmt.Fprintf(out, "accepted  %s in %s: %s\n", id, found[id], reason)
			delete(reasons, id)
			continue
		}
		errs = append(errs, fmt.Errorf("%s in %s is reached and not accepted", id, found[id]))
	}
	for _, id := range slices.Sorted(maps.Keys(reasons)) {
		fmt.Fprintf(out, "not here  %s: its line can go when no older toolchain builds this\n", id)
	}
	fmt.Fprintf(out, "%d vulnerabilities reached, %d of them not accepted\n", len(found), len(errs))
	return errors.Join(errs...)
}

// reached returns the vulnerabilities of which a function is called, with the
// module and the version that mends it. Output that says nothing at all is an error.
func reached(in io.Reader) (map[string]string, error) {
	found, messages := map[string]string{}, 0
	for d := json.NewDecoder(in); ; messages++ {
		var m message
		if err := d.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("read govulncheck's output: %w", err)
		}
		if f := m.Finding; f != nil && len(f.Trace) > 0 && f.Trace[0].Function != "" {
			found[f.OSV] = f.Trace[0].Module + ", mended in " + f.FixedVersion
		}
	}
	if messages == 0 {
		return nil, errors.New("govulncheck said nothing")
	}
	return found, nil
}

func read(path string) (map[string]string, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	reasons := map[string]string{}
	for s, n := bufio.NewScanner(f), 1; s.Scan(); n++ {
		line := strings.TrimSpace(s.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		parts := strings.SplitN(line, " ", 3)
		if len(parts) < 3 {
			return nil, fmt.Errorf("%s:%d: want an id, a date and a reason", path, n)
		}
		if _, err := time.Parse(time.DateOnly, parts[1]); err != nil {
			return nil, fmt.Errorf("%s:%d: %q is no date", path, n, parts[1])
		}
		reasons[parts[0]] = parts[1] + ", " + parts[2]
	}
	return reasons, nil
}
