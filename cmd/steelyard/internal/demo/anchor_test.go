package demo

import "time"

// anchor goes the whole way: it tests its maintenance, cuts, is away for some
// days, bears the cut badly for some weeks, has a break, reaches the goal and
// comes back up.
func anchor() life {
	return life{
		id: "t-anchor", seed: 17, before: 2800, steps: 6000, waist: 101, notSlogOn: 49,
		lifts: []lift{
			{"bench-press", 75, []time.Weekday{time.Monday, time.Thursday}},
			{"back-squat", 95, []time.Weekday{time.Monday, time.Thursday}},
			{"cable-row", 60, []time.Weekday{time.Tuesday, time.Friday}},
		},
		body: body{tissueKg: 96.0, spendsKcal: 2930, scatter: 0.06, hidden: 0.04, swingSDKg: 0.28, missesWeigh: 0.06, missesLog: 0.04},
		on: func(day int) happening {
			var h happening
			if day > 30 {
				h.workKcal = -290 // moves less at work from here on
			}
			switch {
			case day == 38:
				h.typoKg = 10
			case day >= 61 && day <= 63:
				h.mark, h.silent, h.over = "travel", true, 0.25
			case day >= 71 && day <= 101:
				h.isHard = true
			}
			return h
		},
	}
}
