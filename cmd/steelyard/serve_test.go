package main

import (
	"io"
	"net/http"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strings"
	"syscall"
	"testing"
	"time"

	"example.com/steelyard/service/access"
)

// The real binary on free ports: it tells its settings without secrets, where
// it listens and how to make the first key; a signal ends it well.
func TestServeTheRealBinary(t *testing.T) {
	bin, dir := buildBinary(t), filepath.Join(t.TempDir(), "data")
	p := startProcess(t, bin, dir, freePorts, "STEELYARD_KEY_PEPPER=hush", "STEELYARD_REQUEST_TIMEOUT=7s")

	cfg := p.lines("configuration")
	if len(cfg) != 1 || cfg[0]["data_dir"] != dir || cfg[0]["request_timeout"] != "7s" || cfg[0]["key_pepper"] != "REDACTED" {
		t.Errorf("settings in force: %v", cfg)
	}
	get := func(address, path, key string) (int, string) {
		req, err := http.NewRequest("GET", "http://"+address+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+key)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, string(body)
	}
	if code, body := get(p.listen.Admin, "/readyz", ""); code != http.StatusOK {
		t.Errorf("readyz: %d %s", code, body)
	}
	if code, _ := get(p.listen.HTTP, "/v1/trainees/t-none", "none"); code != http.StatusUnauthorized {
		t.Errorf("without a key: %d", code)
	}

	hint := p.lines("there is no key yet")
	if len(hint) != 1 || hint[0]["make_one"] != "steelyard keys create --data-dir "+dir {
		t.Fatalf("hint: %v", hint)
	}
	// Keys are made and revoked beside the server. It knows a new one at once and
	// a revoked one after a little.
	t.Setenv("STEELYARD_KEY_PEPPER", "hush")
	key := makeKey(t, bin, dir)
	if code, body := get(p.listen.HTTP, "/v1/trainees/t-none", key); code != http.StatusNotFound {
		t.Errorf("with the key: %d %s", code, body)
	}
	id := strings.Split(key, "_")[1]
	if out, err := exec.Command(bin, "keys", "revoke", "--data-dir", dir, id).CombinedOutput(); err != nil {
		t.Errorf("revoke: %v, %s", err, out)
	}
	time.Sleep(access.MaxKeyAge)
	if code, body := get(p.listen.HTTP, "/v1/trainees/t-none", key); code != http.StatusUnauthorized {
		t.Errorf("with the revoked key: %d %s", code, body)
	}
	if err := p.end(syscall.SIGTERM); err != nil {
		t.Errorf("SIGTERM: %v", err)
	}
	if len(p.lines("stopped")) != 1 {
		t.Errorf("log: %v", p.lines(""))
	}

	// A second start needs no hint; Ctrl-C ends it as well.
	first := p.lines("")
	p = startProcess(t, bin, dir, freePorts, "STEELYARD_KEY_PEPPER=hush")
	if hint := p.lines("there is no key yet"); len(hint) != 0 {
		t.Errorf("hint: %v", hint)
	}
	if err := p.end(syscall.SIGINT); err != nil {
		t.Errorf("SIGINT: %v", err)
	}
	for _, l := range append(first, p.lines("")...) {
		for _, v := range l {
			if s, ok := v.(string); ok && (strings.Contains(s, "hush") || strings.Contains(s, key)) {
				t.Errorf("a secret shows: %v", l)
			}
		}
		if _, bad := l["not JSON"]; bad {
			t.Errorf("not JSON: %v", l)
		}
	}

}

func TestServeTellsATakenPort(t *testing.T) {
	bin := buildBinary(t)
	p := startProcess(t, bin, t.TempDir(), freePorts)
	var out, messages strings.Builder
	code := run(t.Context(), []string{"serve", "--data-dir", t.TempDir(), "--grpc-address", p.listen.GRPC,
		"--http-address", "127.0.0.1:0", "--admin-address", "127.0.0.1:0"}, strings.NewReader(""), &out, &messages)
	if code != exitFailure || !strings.Contains(messages.String(), "address already in use") {
		t.Errorf("code %d: %s", code, messages.String())
	}
	if err := p.end(syscall.SIGTERM); err != nil {
		t.Error(err)
	}
}

func TestVersionLine(t *testing.T) {
	built := &debug.BuildInfo{GoVersion: "go1.99", Main: debug.Module{Version: "v0.3.1"}, Settings: []debug.BuildSetting{
		{Key: "vcs.revision", Value: "0123456789abcdef"}, {Key: "vcs.modified", Value: "true"},
	}}
	for _, c := range []struct {
		release string
		info    *debug.BuildInfo
		want    string
	}{
		{"", built, "steelyard v0.3.1 revision 0123456789ab with local changes go1.99"},
		{"v1.2.3", built, "steelyard v1.2.3 revision 0123456789ab with local changes go1.99"},
		{"", &debug.BuildInfo{}, "steelyard (devel)"},
	} {
		if got := versionLine(c.release, c.info); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}
