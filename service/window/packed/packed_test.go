package packed

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"math/bits"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

func mustAppend(t testing.TB, s store.Snapshot) []byte {
	t.Helper()
	b, err := Append(nil, s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func checkRoundTrip(t interface {
	Helper()
	Fatalf(string, ...any)
}, s store.Snapshot) {
	t.Helper()
	b, err := Append([]byte("kept"), s)
	if err != nil || !bytes.HasPrefix(b, []byte("kept")) {
		t.Fatalf("append: %v", err)
	}
	got, err := Decode(b[len("kept"):])
	if err != nil {
		t.Fatalf("decode: %v", err)
	}
	if !cmp.Equal(s, got, exactly) {
		t.Fatalf("%s", cmp.Diff(s, got, exactly))
	}
}

func TestRoundTrip_AnySnapshot(t *testing.T) {
	fixSeed(t)
	rapid.Check(t, func(t *rapid.T) { checkRoundTrip(t, snapshotGen.Draw(t, "snapshot")) })
}

func TestRoundTrip_Sizes(t *testing.T) {
	checkRoundTrip(t, store.Snapshot{})
	checkRoundTrip(t, store.Snapshot{Plan: &store.Plan{}, Window: engine.Window{First: math.MinInt32}})
	for _, n := range []int{1, 7, 8, 9, 90, 4000, MaxDays} {
		checkRoundTrip(t, whole(n))
	}
}

// TestRoundTrip_EveryField sets each field of the types alone, so that one that
// is forgotten, or takes another's place, shows.
func TestRoundTrip_EveryField(t *testing.T) {
	n := 0
	var set func(path string, v reflect.Value, check func())
	set = func(path string, v reflect.Value, check func()) {
		old := reflect.New(v.Type()).Elem()
		old.Set(v)
		defer v.Set(old)
		switch x := v.Addr().Interface().(type) {
		case *time.Time:
			*x = time.Unix(1_750_000_000, 7).UTC()
		case *engine.Opt:
			*x = engine.Some(12.3)
		case *engine.OptDay:
			*x = engine.SomeDay(77)
		default:
			switch v.Kind() {
			case reflect.Struct:
				for i := range v.NumField() {
					set(path+"."+v.Type().Field(i).Name, v.Field(i), check)
				}
				return
			case reflect.Pointer:
				v.Set(reflect.New(v.Type().Elem()))
				check()
				set(path, v.Elem(), check)
				return
			case reflect.Slice:
				v.Set(reflect.MakeSlice(v.Type(), 3, 3))
				check()
				set(path+"[1]", v.Index(1), check)
				return
			case reflect.String:
				v.SetString("text")
			case reflect.Bool:
				v.SetBool(true)
			case reflect.Float64:
				v.SetFloat(12.3)
			case reflect.Int, reflect.Int32, reflect.Int64:
				v.SetInt(3)
			case reflect.Uint8, reflect.Uint16:
				v.SetUint(3)
			default:
				t.Fatalf("%s: a field of type %s is new to this test", path, v.Type())
			}
		}
		n++
		check()
	}
	var s store.Snapshot
	set("Snapshot", reflect.ValueOf(&s).Elem(), func() { t.Helper(); checkRoundTrip(t, s) })
	if n < 60 {
		t.Errorf("only %d fields were set", n)
	}
}

// TestSchema_NamesTheTypes: a field that is added, renamed, retyped or removed
// asks for another Schema, since bytes of before may lie in a bag.
func TestSchema_NamesTheTypes(t *testing.T) {
	var shape strings.Builder
	seen := map[reflect.Type]bool{}
	var walk func(t reflect.Type)
	walk = func(t reflect.Type) {
		if t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			walk(t.Elem())
			return
		}
		if t.Kind() != reflect.Struct || t == reflect.TypeFor[time.Time]() || seen[t] {
			return
		}
		seen[t] = true
		for i := range t.NumField() {
			f := t.Field(i)
			fmt.Fprintf(&shape, "%s.%s %s %s\n", t, f.Name, f.Type, f.Type.Kind())
			walk(f.Type)
		}
	}
	walk(reflect.TypeFor[store.Snapshot]())
	const schema, want = 2, uint32(0x303b78c0)
	if got := crc32.ChecksumIEEE([]byte(shape.String())); Schema != schema || got != want {
		t.Errorf("the types that are carried have changed (%#x, schema %d): carry the change, raise Schema, and put both here:\n%s", got, Schema, &shape)
	}
}

func TestDecode_AnyDamageIsAnError(t *testing.T) {
	b := mustAppend(t, whole(30))
	for i := range b {
		if _, err := Decode(b[:i]); err == nil {
			t.Fatalf("the first %d of %d bytes are taken", i, len(b))
		}
		for bit := range 8 {
			spoilt := bytes.Clone(b)
			spoilt[i] ^= 1 << bit
			if _, err := Decode(spoilt); !errors.Is(err, ErrDamaged) && (i > 0 || !errors.Is(err, ErrSchema)) {
				t.Fatalf("bit %d of byte %d is changed: %v", bit, i, err)
			}
		}
	}
	if _, err := Decode(append(bytes.Clone(b), 0)); !errors.Is(err, ErrDamaged) {
		t.Errorf("a byte more: %v", err)
	}
}

func TestDecode_AnotherSchema(t *testing.T) {
	for _, schema := range []byte{0, Schema + 1, 255} {
		b := mustAppend(t, usual(3))
		b[0] = schema
		if _, err := Decode(resealed(b[:len(b)-crc32.Size])); !errors.Is(err, ErrSchema) {
			t.Errorf("schema %d: %v", schema, err)
		}
	}
}

func TestAppend_TooManyDays(t *testing.T) {
	s := store.Snapshot{Window: engine.Window{Days: make([]engine.WindowDay, MaxDays+1)}}
	if b, err := Append([]byte("kept"), s); !errors.Is(err, ErrTooLong) || string(b) != "kept" {
		t.Errorf("%q, %v", b, err)
	}
}

// TestAppend_Size: 90 days of eight fields (five numbers, readings, marks,
// check-ins), 15 % missing, in at most 1.1 kB.
func TestAppend_Size(t *testing.T) {
	log, all := len(mustAppend(t, usual(90))), len(mustAppend(t, whole(90)))
	t.Logf("90 days: %d bytes; with a plan, six decisions and 90 lift days: %d bytes", log, all)
	if log > 1100 {
		t.Errorf("90 days take %d bytes", log)
	}
}

// TestAppend_OtherUnitsStaySmall: a log kept in pounds and kilojoules packs like
// one in kilograms, though its numbers have 17 digits.
func TestAppend_OtherUnitsStaySmall(t *testing.T) {
	s := usual(90)
	metric := len(mustAppend(t, s))
	for i := range s.Window.Days {
		d := &s.Window.Days[i]
		if d.WeightKg.OK {
			d.WeightKg = engine.Mass{Value: math.Round(d.WeightKg.V*22.046) / 10, Unit: engine.Pound}.Kg()
		}
		if d.IntakeKcal.OK {
			d.IntakeKcal = engine.Energy{Value: math.Round(d.IntakeKcal.V * 4.184), Unit: engine.Kilojoule}.Kcal()
		}
	}
	checkRoundTrip(t, s)
	if got := len(mustAppend(t, s)); got > metric*11/10 {
		t.Errorf("%d bytes, %d in kilograms and kilocalories", got, metric)
	}
}

// resealed ends a body with its checksum.
func resealed(body []byte) []byte {
	return binary.LittleEndian.AppendUint32(bytes.Clone(body), crc32.Checksum(body, checksum))
}

// TestDecode_WhatIsWellSealedAndWrong: the checksum is right, so that each other
// guard stands alone.
func TestDecode_WhatIsWellSealedAndWrong(t *testing.T) {
	b := mustAppend(t, whole(5))
	body := b[:len(b)-crc32.Size]
	if _, err := Decode(resealed(body)); err != nil {
		t.Fatal(err)
	}
	for i := 1; i < len(body); i++ {
		if _, err := Decode(resealed(body[:i])); !errors.Is(err, ErrDamaged) {
			t.Fatalf("the first %d of %d bytes: %v", i, len(body), err)
		}
	}
	if _, err := Decode(resealed(append(bytes.Clone(body), 0))); !errors.Is(err, ErrDamaged) {
		t.Errorf("a byte more: %v", err)
	}
}

// TestDecode_ABitmapOfMoreDaysThanThereAre, though its numbers are there.
func TestDecode_ABitmapOfMoreDaysThanThereAre(t *testing.T) {
	s := store.Snapshot{Window: engine.Window{Days: make([]engine.WindowDay, 5)}}
	s.Window.Days[4].RefeedKcal = engine.Some(2600) // the last column: no other has a bitmap
	b := mustAppend(t, s)
	body := b[:len(b)-crc32.Size]
	at := bytes.LastIndexByte(body, 1<<4)
	for _, more := range []byte{1 << 5, 1 << 7} {
		wrong := bytes.Clone(body)
		wrong[at] |= more
		wrong = slices.Insert(wrong, at+1, 1, 0) // a token of the width
		if _, err := Decode(resealed(wrong)); !errors.Is(err, ErrDamaged) {
			t.Errorf("day %d of 5: %v", bits.Len8(more), err)
		}
	}
}

// TestDecode_AFewBytesNeverAskForMuch memory, whatever counts they claim.
func TestDecode_AFewBytesNeverAskForMuch(t *testing.T) {
	b := mustAppend(t, whole(5))
	body := b[:len(b)-crc32.Size]
	huge := binary.AppendUvarint(nil, 1<<36)
	for i := 1; i <= len(body); i++ {
		claim := resealed(append(append(bytes.Clone(body[:i]), huge...), body[min(i+1, len(body)):]...))
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _ = Decode(claim)
		runtime.ReadMemStats(&after)
		if n := after.TotalAlloc - before.TotalAlloc; n > 4<<20 { // MaxDays days are 1.3 MB
			t.Fatalf("a count of 2^36 at byte %d: %d bytes were asked for", i, n)
		}
	}
}

// FuzzDecode: nothing panics, and what is taken packs into the same again.
func FuzzDecode(f *testing.F) {
	for _, s := range []store.Snapshot{{}, {Plan: &store.Plan{}}, usual(5), whole(20)} {
		b := mustAppend(f, s)
		f.Add(b[1 : len(b)-crc32.Size])
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		_, _ = Decode(body)
		s, err := Decode(resealed(append([]byte{Schema}, body...)))
		if err != nil {
			return
		}
		first := mustAppend(t, s)
		again, err := Decode(first)
		if err != nil {
			t.Fatalf("%v of %+v", err, s)
		}
		if second := mustAppend(t, again); !bytes.Equal(first, second) {
			t.Fatalf("%x\n%x", first, second)
		}
	})
}
