package balance

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/steelyard/engine"
)

// rawWindow makes a window of any bytes: a day is a byte that says which of
// five numbers it holds, a byte of marks, and the bits of those numbers. What
// no store would let in is in it too: NaN, infinities, negative weights.
func rawWindow(raw []byte) (w engine.Window, decisions []engine.Decision) {
	number := func() engine.Opt {
		if len(raw) < 8 {
			raw = nil
			return engine.Opt{}
		}
		v := math.Float64frombits(binary.LittleEndian.Uint64(raw))
		raw = raw[8:]
		return engine.Some(v)
	}
	for len(raw) >= 2 && len(w.Days) < 500 {
		has, marks := raw[0], raw[1]
		raw = raw[2:]
		var d engine.WindowDay
		d.Marks = engine.MarkSet(marks)
		if has&1 != 0 {
			d.WeightKg = number()
		}
		if has&2 != 0 {
			d.IntakeKcal = number()
		}
		if has&4 != 0 {
			d.RefeedKcal = number()
		}
		if has&8 != 0 {
			decisions = append(decisions, engine.Decision{
				From:   engine.Day(len(w.Days)),
				Target: engine.Target{IntakeKcal: number().V, ActivityKcal: number().V},
			})
		}
		w.Days = append(w.Days, d)
		for range has >> 5 { // a gap
			w.Days = append(w.Days, engine.WindowDay{})
		}
	}
	return w, decisions
}

// rawBytes is the other way round, for the corpus to start from.
func rawBytes(in []Input) []byte {
	var raw []byte
	add := func(o engine.Opt) {
		if o.OK {
			raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(o.V))
		}
	}
	for i, d := range in {
		var has, marks byte
		for bit, is := range []bool{d.WeightKg.OK, d.IntakeKcal.OK, d.RefeedKcal.OK} {
			if is {
				has |= 1 << bit
			}
		}
		isNew := d.TargetKcal.OK && (i == 0 || in[i-1].TargetKcal != d.TargetKcal || in[i-1].ActivityKcal != d.ActivityKcal)
		if isNew {
			has |= 8
		}
		for m, is := range map[engine.MarkKind]bool{engine.MarkRefeed: d.IsRefeed, engine.MarkSaltyMeal: d.IsSalty, engine.MarkPeriodStart: d.IsPeriodStart} {
			if is {
				marks |= 1 << m
			}
		}
		raw = append(raw, has, marks)
		add(d.WeightKg)
		add(d.IntakeKcal)
		add(d.RefeedKcal)
		if isNew {
			add(d.TargetKcal)
			add(engine.Some(d.ActivityKcal))
		}
	}
	return raw
}

// FuzzEstimate throws raw windows, guesses and targets at the filter, the
// smoother, the forecast and the estimate. Whatever comes in, nothing panics,
// every number that is told is finite, and what must hold holds.
func FuzzEstimate(f *testing.F) {
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 31))
		f.Add(rawBytes(randomInputs(r, 1+r.IntN(60))), 1500+1500*r.Float64(), 300*r.Float64(), seed%2 == 0, 2000.0, 100.0, 28)
	}
	f.Add([]byte{1, 0, 0, 0, 0, 0, 0, 0, 0xf8, 0x7f}, math.NaN(), math.Inf(1), false, math.Inf(-1), -1.0, -1)
	f.Fuzz(func(t *testing.T, raw []byte, kcal, sd float64, isTracked bool, targetKcal, activityKcal float64, days int) {
		w, decisions := rawWindow(raw)
		plan := engine.DefaultPlan(0)
		plan.Decisions = decisions
		in := Inputs(w, &plan, w.End()-1)
		g := Guess{Kcal: kcal, SDKcal: sd, IsTracked: isTracked}
		target := engine.Target{IntakeKcal: targetKcal, ActivityKcal: activityKcal}
		track, line := Smooth(0, in, g)
		readings := 0
		for i, s := range track.Days {
			if in[i].WeightKg.OK {
				readings++
			}
			checkState(t, s)
			checkState(t, line[i])
			if s.Started != line[i].Started {
				t.Fatalf("day %d: started %v and %v", i, s.Started, line[i].Started)
			}
			if s.Started && s.ReadingsUsed+s.ReadingsRefused > readings {
				t.Fatalf("day %d: %d used and %d refused of %d", i, s.ReadingsUsed, s.ReadingsRefused, readings)
			}
			if less := line[i].MaintenanceSDKcal; s.Started && less > s.MaintenanceSDKcal*(1+1e-6) {
				t.Fatalf("day %d: hindsight makes maintenance less sure: %v, filter %v kcal/d", i, less, s.MaintenanceSDKcal)
			}
		}
		e, ok := track.Estimate(target, Band{0.5, 1})
		isTarget := targetKcal >= 0 && targetKcal <= maxDayKcal && activityKcal >= 0 && activityKcal <= maxDayKcal
		if n := len(track.Days); ok != (n > 0 && track.Days[n-1].Started && isTarget) {
			t.Fatalf("estimate %v", ok)
		}
		if ok {
			finite(t, e.TrendWeightKg, e.ScaleWeightKg, e.RatePctPerWeek, e.MaintenanceKcal, e.IntakeKcal)
			if !(e.RateSDPctPerWeek > 0 && e.PBelowBand >= 0 && e.PAboveBand >= 0 && e.PBelowBand+e.PAboveBand <= 1+1e-12) {
				t.Fatalf("%+v", e)
			}
			if e.ReadingsUsed+len(e.Refused) != readings {
				t.Fatalf("%d used, %d refused of %d", e.ReadingsUsed, len(e.Refused), readings)
			}
		}
		ahead, canForecast := track.Forecast(target, days)
		if canForecast != (ok && days >= 1 && days <= MaxForecastDays) {
			t.Fatalf("forecast %v", canForecast)
		}
		for _, x := range ahead {
			finite(t, x.LevelKg, x.ReadingKg)
			positive(t, x.LevelSDKg, x.ReadingSDKg)
		}
	})
}

func checkState(t *testing.T, s State) {
	t.Helper()
	if !s.Started {
		if s.TrendWeightKg != 0 || s.RateSDPctPerWeek != 0 {
			t.Fatalf("numbers before the start: %+v", s)
		}
		return
	}
	finite(t, s.TrendWeightKg, s.ScaleWeightKg, s.MaintenanceKcal, s.RatePctPerWeek)
	positive(t, s.TrendWeightSDKg, s.RateSDPctPerWeek)
	if !(s.MaintenanceSDKcal >= 0 && s.ScaleWeightSDKg >= 0) { // a guess may come as certain
		t.Fatalf("%+v", s)
	}
}

func finite(t *testing.T, numbers ...float64) {
	t.Helper()
	for _, v := range numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%v of %v", v, numbers)
		}
	}
}

func positive(t *testing.T, numbers ...float64) {
	t.Helper()
	finite(t, numbers...)
	for _, v := range numbers {
		if v <= 0 {
			t.Fatalf("%v of %v", v, numbers)
		}
	}
}
