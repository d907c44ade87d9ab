// Package settings makes every field of a configuration struct a flag and an
// environment variable by one rule: KeyPepper is --key-pepper and
// STEELYARD_KEY_PEPPER. A flag wins over the environment, the environment over
// the default.
//
// A secret, a field whose type hides itself by implementing slog.LogValuer over
// a string, is never a flag, since others can see a process's arguments: it comes
// from its variable, or from the file that the variable with _FILE names.
//
// The struct's tags say the rest: `help`, `default`.
package settings

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/spf13/pflag"
)

// EnvPrefix starts every variable.
const EnvPrefix = "STEELYARD_"

// Set is the settings of one struct.
type Set struct{ fields []*field }

type field struct {
	name   string // key-pepper
	env    string // STEELYARD_KEY_PEPPER
	help   string
	def    string
	value  reflect.Value
	secret bool
	set    bool // by a flag
}

// Of returns the settings of a struct, which Load will fill. A field of a kind
// that cannot be set is a programming error and panics.
func Of(target any) *Set {
	v := reflect.ValueOf(target).Elem()
	s := &Set{}
	for i := range v.NumField() {
		sf := v.Type().Field(i)
		name := kebab(sf.Name)
		f := &field{
			name: name, env: EnvPrefix + strings.ToUpper(strings.ReplaceAll(name, "-", "_")),
			help: sf.Tag.Get("help"), def: sf.Tag.Get("default"), value: v.Field(i),
		}
		_, hides := f.value.Interface().(slog.LogValuer)
		f.secret = hides && f.value.Kind() == reflect.String
		if f.def != "" {
			if err := f.parse(f.def); err != nil {
				panic(fmt.Sprintf("settings: default of %s: %v", sf.Name, err))
			}
		} else if err := f.parse(f.text()); err != nil {
			panic(fmt.Sprintf("settings: %s: %v", sf.Name, err))
		}
		s.fields = append(s.fields, f)
	}
	return s
}

// AddFlags adds the flags of the named settings, of all of them when none is named.
func (s *Set) AddFlags(fs *pflag.FlagSet, names ...string) {
	for _, f := range s.fields {
		if f.secret || (len(names) > 0 && !slices.Contains(names, f.name)) {
			continue
		}
		flag := fs.VarPF(f, f.name, "", f.help+" ("+f.env+")")
		if f.value.Kind() == reflect.Bool {
			flag.NoOptDefVal = "true"
		}
	}
}

// Load fills what no flag has set from the environment. It names the variable
// at fault and never shows a secret.
func (s *Set) Load(lookup func(string) (string, bool)) error {
	var errs []error
	for _, f := range s.fields {
		if f.set {
			continue
		}
		text, ok := lookup(f.env)
		if f.secret {
			var err error
			if text, ok, err = f.secretText(text, ok, lookup); err != nil {
				errs = append(errs, err)
				continue
			}
		}
		if !ok || text == "" {
			continue
		}
		if err := f.parse(text); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", f.env, err))
		}
	}
	return errors.Join(errs...)
}

// secretText reads a secret from its file where there is one.
func (f *field) secretText(text string, ok bool, lookup func(string) (string, bool)) (string, bool, error) {
	path, fromFile := lookup(f.env + "_FILE")
	if !fromFile || path == "" {
		return text, ok, nil
	}
	if ok && text != "" {
		return "", false, fmt.Errorf("%s and %s_FILE: set one of them, not both", f.env, f.env)
	}
	b, err := os.ReadFile(path) // #nosec G304 -- the operator says where
	if err != nil {
		return "", false, fmt.Errorf("%s_FILE: %w", f.env, err)
	}
	text = strings.TrimRight(string(b), "\r\n")
	if text == "" {
		return "", false, fmt.Errorf("%s_FILE: %s is empty", f.env, path)
	}
	return text, true, nil
}

// Attrs returns the settings in force, secrets hidden, for a log line.
func (s *Set) Attrs() []slog.Attr {
	out := make([]slog.Attr, len(s.fields))
	for i, f := range s.fields {
		out[i] = slog.String(strings.ReplaceAll(f.name, "-", "_"), f.text())
	}
	return out
}

// Unknown names the variables of an environment that start with EnvPrefix and
// belong to none of the sets: typing errors, mostly.
func Unknown(environ []string, sets ...*Set) []string {
	known := map[string]bool{}
	for _, s := range sets {
		for _, f := range s.fields {
			known[f.env] = true
			if f.secret {
				known[f.env+"_FILE"] = true
			}
		}
	}
	var out []string
	for _, pair := range environ {
		name, _, _ := strings.Cut(pair, "=")
		if strings.HasPrefix(name, EnvPrefix) && !known[name] {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// String implements pflag.Value.
func (f *field) String() string { return f.text() }

// Set implements pflag.Value.
func (f *field) Set(text string) error {
	f.set = true
	return f.parse(text)
}

// Type implements pflag.Value; the help text shows it.
func (f *field) Type() string {
	switch f.value.Interface().(type) {
	case time.Duration:
		return "duration"
	case bool: // pflag shows nothing for a switch
		return "bool"
	}
	return f.value.Kind().String()
}

func (f *field) text() string {
	if f.secret && f.value.Len() > 0 {
		return "REDACTED" // whatever the type's own String does
	}
	return fmt.Sprint(f.value.Interface())
}

func (f *field) parse(text string) error {
	switch f.value.Interface().(type) {
	case time.Duration:
		d, err := time.ParseDuration(text)
		if err != nil {
			return fmt.Errorf("%q is not a duration such as 10s", text)
		}
		f.value.SetInt(int64(d))
		return nil
	}
	switch f.value.Kind() {
	case reflect.String:
		f.value.SetString(text)
	case reflect.Int:
		n, err := strconv.Atoi(text)
		if err != nil {
			return fmt.Errorf("%q is not a whole number", text)
		}
		f.value.SetInt(int64(n))
	case reflect.Bool:
		b, err := strconv.ParseBool(text)
		if err != nil {
			return fmt.Errorf("%q is not true or false", text)
		}
		f.value.SetBool(b)
	default:
		return fmt.Errorf("a %s cannot be set", f.value.Type())
	}
	return nil
}

// kebab writes a Go name as a flag: GRPCAddress is grpc-address.
func kebab(name string) string {
	var b strings.Builder
	runes := []rune(name)
	for i, r := range runes {
		wordStarts := unicode.IsUpper(r) && i > 0 &&
			(unicode.IsLower(runes[i-1]) || (i+1 < len(runes) && unicode.IsLower(runes[i+1])))
		if wordStarts {
			b.WriteByte('-')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}
