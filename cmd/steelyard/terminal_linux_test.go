package main

import (
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// terminal is a terminal that shows what is written to it.
func terminal(t *testing.T) (tty *os.File, shown func() string) {
	t.Helper()
	screen, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = screen.Close() })
	fd := int(screen.Fd())
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err == nil {
		err = unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0)
	}
	if err == nil {
		err = unix.IoctlSetWinsize(fd, unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: 120})
	}
	if err != nil {
		t.Fatal(err)
	}
	tty, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	all := make(chan string, 1)
	go func() {
		b, _ := io.ReadAll(screen) // ends with an error when nobody has the terminal open
		all <- string(b)
	}()
	return tty, func() string {
		_ = tty.Close()
		return onScreen(<-all)
	}
}

var up = regexp.MustCompile(`\x1b\[(\d+)A\x1b\[J`)

// onScreen is what is left on a screen of text in which the cursor goes up and wipes
// what is below.
func onScreen(text string) string {
	text = strings.ReplaceAll(text, "\r\n", "\n")
	var left []string
	for text != "" {
		m := up.FindStringSubmatchIndex(text)
		piece := text
		if m != nil {
			piece = text[:m[0]]
		}
		left = append(left, strings.SplitAfter(piece, "\n")...)
		left = left[:len(left)-1] // what follows the last end of a line, which is nothing
		if m == nil {
			break
		}
		n, _ := strconv.Atoi(text[m[2]:m[3]])
		left, text = left[:max(0, len(left)-n)], text[m[1]:]
	}
	return strings.Join(left, "")
}

// On a terminal refused rows stay above the bar, and the bar counts all entries once.
func TestUpload_OnATerminal(t *testing.T) {
	u, _ := uploading(t, 1)
	tty, shown := terminal(t)
	u.report, u.status = nil, tty
	u.conn = gate{ClientConnInterface: u.conn, ended: func(string) {
		time.Sleep(400 * time.Millisecond) // the bar is drawn again before and after each line
	}}
	sum, err := u.run(within(t), logOf(t, withRefused))
	if err != nil {
		t.Fatal(err)
	}
	rows, bar, found := strings.Cut(shown(), "7 of 7 entries")
	if got := numbers(t, rows); !found || got != toldOf || strings.Count(bar, "\n") != 1 {
		t.Errorf("%v: told %s, then %q", sum, got, bar)
	}
}
