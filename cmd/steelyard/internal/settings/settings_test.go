package settings

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/pflag"

	"example.com/steelyard/service"
)

func environment(pairs ...string) func(string) (string, bool) {
	m := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		m[pairs[i]] = pairs[i+1]
	}
	return func(name string) (string, bool) { v, ok := m[name]; return v, ok }
}

// sample returns two texts of a field's type that differ from each other and
// from any default.
func sample(t *testing.T, v reflect.Value) (env, flag string) {
	t.Helper()
	switch v.Interface().(type) {
	case time.Duration:
		return "47s", "53s"
	}
	switch v.Kind() {
	case reflect.String:
		return "from-env", "from-flag"
	case reflect.Int:
		return "4700", "5300"
	case reflect.Bool:
		return "true", "false"
	}
	t.Fatalf("no sample of %s", v.Type())
	return "", ""
}

// load fills a fresh Config from arguments and an environment.
func load(t *testing.T, args []string, env func(string) (string, bool)) (service.Config, *Set, error) {
	t.Helper()
	var cfg service.Config
	s := Of(&cfg)
	fs := pflag.NewFlagSet("test", pflag.ContinueOnError)
	fs.SetOutput(io.Discard)
	s.AddFlags(fs)
	if err := fs.Parse(args); err != nil {
		return cfg, s, err
	}
	return cfg, s, s.Load(env)
}

// Every field of the service's Config has its flag and its variable, and a flag
// beats the environment beats the default.
func TestEveryFieldOfConfig(t *testing.T) {
	fields := reflect.VisibleFields(reflect.TypeFor[service.Config]())
	if len(fields) < 10 {
		t.Fatalf("only %d fields", len(fields))
	}
	secrets := 0
	for i, sf := range fields {
		t.Run(sf.Name, func(t *testing.T) {
			get := func(args []string, env func(string) (string, bool)) string {
				cfg, _, err := load(t, args, env)
				if err != nil {
					t.Fatalf("%v: %v", args, err)
				}
				return fmt.Sprint(reflect.ValueOf(cfg).Field(i).Interface())
			}
			flag := kebab(sf.Name)
			env := "STEELYARD_" + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
			if sf.Tag.Get("help") == "" {
				t.Error("no help")
			}
			ofEnv, ofFlag := sample(t, reflect.ValueOf(service.Config{}).Field(i))
			if sf.Type == reflect.TypeFor[service.Secret]() {
				secrets++
				cfg, s, err := load(t, nil, environment(env, ofEnv))
				if got := reflect.ValueOf(cfg).Field(i).String(); err != nil || got != ofEnv {
					t.Errorf("environment: got %q, %v", got, err)
				}
				if strings.Contains(fmt.Sprint(s.Attrs()), ofEnv) {
					t.Errorf("the secret shows: %v", s.Attrs())
				}
				if _, _, err := load(t, []string{"--" + flag, "x"}, environment()); err == nil {
					t.Error("the secret is a flag")
				}
				return
			}
			def := sf.Tag.Get("default")
			if def == "" {
				def = fmt.Sprint(reflect.Zero(sf.Type).Interface())
			}
			if got := get(nil, environment()); got != def {
				t.Errorf("default: got %q, want %q", got, def)
			}
			if got := get(nil, environment(env, ofEnv)); got != ofEnv {
				t.Errorf("environment: got %q, want %q", got, ofEnv)
			}
			if got := get([]string{"--" + flag + "=" + ofFlag}, environment()); got != ofFlag {
				t.Errorf("flag: got %q, want %q", got, ofFlag)
			}
			if got := get([]string{"--" + flag + "=" + ofFlag}, environment(env, ofEnv)); got != ofFlag {
				t.Errorf("flag against environment: got %q, want %q", got, ofFlag)
			}
		})
	}
	if secrets == 0 {
		t.Error("no secret was tried")
	}
}

// The defaults that the help shows are those that the service takes for zero.
func TestDefaultsAreTheServices(t *testing.T) {
	cfg, _, err := load(t, nil, environment())
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(service.Config{}.WithDefaults(), cfg); d != "" {
		t.Error(d)
	}
}

func TestNamesByRule(t *testing.T) {
	for name, want := range map[string]string{
		"KeyPepper": "key-pepper", "GRPCAddress": "grpc-address", "StoreURL": "store-url", "MaxBodyBytes": "max-body-bytes",
		"TLS": "tls", "Address": "address", "OTLPEndpointURL": "otlp-endpoint-url",
	} {
		if got := kebab(name); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
}

func TestSecretFromAFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pepper")
	if err := os.WriteFile(path, []byte("pepper of the file\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cfg, _, err := load(t, nil, environment("STEELYARD_KEY_PEPPER_FILE", path))
	if err != nil || string(cfg.KeyPepper) != "pepper of the file" {
		t.Errorf("got %q, %v", string(cfg.KeyPepper), err)
	}
	empty := filepath.Join(t.TempDir(), "empty")
	if err := os.WriteFile(empty, []byte("\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for want, env := range map[string]func(string) (string, bool){
		"set one of them, not both": environment("STEELYARD_KEY_PEPPER_FILE", path, "STEELYARD_KEY_PEPPER", "loud"),
		"no such file":              environment("STEELYARD_KEY_PEPPER_FILE", path+"-gone"),
		"is empty":                  environment("STEELYARD_KEY_PEPPER_FILE", empty),
	} {
		cfg, _, err := load(t, nil, env)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "STEELYARD_KEY_PEPPER") {
			t.Errorf("got %v, want %q", err, want)
		}
		if err != nil && strings.Contains(err.Error(), "loud") {
			t.Errorf("the secret shows: %v", err)
		}
		if cfg.KeyPepper != "" {
			t.Errorf("%s: still loaded", want)
		}
	}
}

func TestBadValuesNameTheVariable(t *testing.T) {
	_, _, err := load(t, nil, environment("STEELYARD_MAX_BODY_BYTES", "many", "STEELYARD_REQUEST_TIMEOUT", "10", "STEELYARD_REFLECTION", "perhaps"))
	for _, want := range []string{
		`STEELYARD_MAX_BODY_BYTES: "many" is not a whole number`,
		`STEELYARD_REQUEST_TIMEOUT: "10" is not a duration such as 10s`,
		`STEELYARD_REFLECTION: "perhaps" is not true or false`,
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if _, _, err := load(t, []string{"--request-timeout=10"}, environment()); err == nil {
		t.Error("a bad flag passes")
	}
}

func TestUnknownVariables(t *testing.T) {
	var cfg service.Config
	got := Unknown([]string{"PATH=/bin", "STEELYARD_DATADIR=x", "STEELYARD_DATA_DIR=x", "STEELYARD_KEY_PEPPER_FILE=x",
		"STEELYARD_DATA_DIR_FILE=x", "STEELYARD=x"}, Of(&cfg))
	if d := cmp.Diff([]string{"STEELYARD_DATADIR", "STEELYARD_DATA_DIR_FILE"}, got); d != "" {
		t.Error(d)
	}
}

func TestNamedFlagsOnly(t *testing.T) {
	var cfg service.Config
	fs := pflag.NewFlagSet("test", pflag.ContinueOnError)
	Of(&cfg).AddFlags(fs, "data-dir")
	if fs.Lookup("data-dir") == nil || fs.Lookup("grpc-address") != nil {
		t.Error("the flags are not those that were named")
	}
}

func TestAttrsShowWhatIsInForce(t *testing.T) {
	_, s, err := load(t, []string{"--data-dir=d"}, environment("STEELYARD_KEY_PEPPER", "loud"))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]slog.Value{}
	for _, a := range s.Attrs() {
		got[a.Key] = a.Value
	}
	if got["data_dir"].String() != "d" || got["request_timeout"].String() != "10s" || got["key_pepper"].String() != "REDACTED" {
		t.Errorf("got %v", got)
	}
}
