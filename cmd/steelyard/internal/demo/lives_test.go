package demo

import "time"

// life is how one invented trainee of the demo lives.
type life struct {
	id     string
	seed   uint64
	body   body
	before float64 // kcal a day that are logged before any target
	steps  float64
	waist  float64
	lifts  []lift
	// notSlogOn is the plan day, a Sunday, whose check-in answers the first-month
	// question: no slog. 0: it stays open.
	notSlogOn int
	on        func(planDay int) happening
}

// lift is what a trainee lifts, three sets on each of some days of the week.
type lift struct {
	name   string
	loadKg float64
	on     []time.Weekday
}

func onTuesdays(name string, loadKg float64) []lift {
	return []lift{{name, loadKg, []time.Weekday{time.Tuesday}}}
}

// happening is what is special about a day.
type happening struct {
	mark       string
	refeedKcal float64 // of the trainee's own accord
	typoKg     float64 // slip of the finger
	over       float64 // share by which the target is overshot
	silent     bool    // nothing but the mark is logged
	workKcal   float64 // spent beyond the usual
	isHard     bool    // by the check-in
}

func ordinary(int) happening { return happening{} }

func lives() []life {
	return []life{
		anchor(),
		{
			// Meets the plan; spends less than the equations say, so that the first
			// cut turns out small and is deepened.
			id: "t-ferry", seed: 11, before: 2550, steps: 6500, waist: 96, lifts: onTuesdays("back-squat", 80), notSlogOn: 42,
			body: body{tissueKg: 91.0, spendsKcal: 2480, scatter: 0.06, hidden: 0.04, swingSDKg: 0.28, missesWeigh: 0.05, missesLog: 0.04},
			on:   ordinary,
		},
		{
			// Takes up a job on its feet after the cut began.
			id: "t-lantern", seed: 12, before: 2000, steps: 7000, waist: 84, lifts: onTuesdays("hip-hinge", 60), notSlogOn: 42,
			body: body{tissueKg: 74.0, spendsKcal: 2270, scatter: 0.05, hidden: 0.03, swingSDKg: 0.25, missesWeigh: 0.05, missesLog: 0.03},
			on: func(day int) happening {
				if day > 13 {
					return happening{workKcal: 800}
				}
				return happening{}
			},
		},
		{
			// Eats over the target for weeks, then meets it, and is away without a
			// scale for some days.
			id: "t-kettle", seed: 13, before: 2300, steps: 5000, waist: 99, lifts: onTuesdays("bench-press", 55), notSlogOn: 42,
			body: body{tissueKg: 88.0, spendsKcal: 2350, scatter: 0.06, hidden: 0.05, swingSDKg: 0.3, missesWeigh: 0.08, missesLog: 0.06},
			on: func(day int) happening {
				h := happening{over: 0.01, silent: day >= 43 && day <= 47}
				if day > 10 && day < 29 {
					h.over = 0.13
				}
				return h
			},
		},
		{
			// Has a refeed now and then, and mistypes a reading.
			id: "t-pebble", seed: 14, before: 2200, steps: 8000, waist: 88, lifts: onTuesdays("overhead-press", 35), notSlogOn: 35,
			body: body{tissueKg: 80.0, spendsKcal: 2260, scatter: 0.05, hidden: 0.03, swingSDKg: 0.25, missesWeigh: 0.04, missesLog: 0.03},
			on: func(day int) happening {
				switch day {
				case 26:
					return happening{refeedKcal: 2250}
				case 33:
					return happening{typoKg: 8}
				}
				return happening{}
			},
		},
		{
			id: "t-harbour", seed: 15, before: 2400, steps: 5500, waist: 101, lifts: onTuesdays("leg-press", 100),
			body: body{tissueKg: 95.0, spendsKcal: 2420, scatter: 0.06, hidden: 0.05, swingSDKg: 0.3, missesWeigh: 0.05, missesLog: 0.05},
			on:   ordinary,
		},
	}
}
