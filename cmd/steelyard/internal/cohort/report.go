package cohort

import (
	"math"
	"slices"
)

// Report is what a study found.
type Report struct {
	Seed    uint64    `json:"seed"`
	People  int       `json:"people"`  // of each cohort
	Days    int       `json:"days"`    // that each was followed
	Cohorts []Figures `json:"cohorts"` // two of each: steady, then wandering
}

// Figures are one cohort's in one world. What is not known is absent.
type Figures struct {
	Cohort    string     `json:"cohort"`
	World     string     `json:"world"`
	OpenLoop  []OpenDay  `json:"open_loop"`
	Covered80 *float64   `json:"covered_80_pct,omitempty"` // of the true rates by the 80 % interval, all mornings together
	Covered95 *float64   `json:"covered_95_pct,omitempty"`
	Posterior ClosedLoop `json:"posterior"`
	Hand      ClosedLoop `json:"hand"`
}

// OpenDay is how far the estimates of one morning lay off, root mean square.
type OpenDay struct {
	Day             int      `json:"day"`
	Estimates       int      `json:"estimates"` // people with one
	RatePctPerWeek  *float64 `json:"rate_rmse_pct_per_week,omitempty"`
	MaintenanceKcal *float64 `json:"maintenance_rmse_kcal,omitempty"`
}

// ClosedLoop is what the cuts under one coach came to. A rate is the true one:
// tissue loss in % of body weight a week under the present ordinary-day
// prescription. A change is a change of the balance at a review, the opening
// cut and the base activity left out. Twelve weeks are counted from day 20 on.
type ClosedLoop struct {
	// InBandPct is the share of days after day 20 with a rate of 0.5-1 %.
	InBandPct float64 `json:"days_in_band_pct"`
	// FalseChanges have a rate in the band, or move away from it.
	FalseChanges float64 `json:"false_changes_per_12_weeks"`
	// FastCuts lower the balance although the rate is over 1 %.
	FastCuts float64 `json:"cuts_over_1_pct_per_12_weeks"`
	// Misses are reviews that hold although the rate is under 0.4 or over 1.1 %,
	// and floor and activity limit leave room for a change. PutOff are those that
	// ask for more data, or to meet the present target first.
	Misses  float64 `json:"material_misses_per_12_weeks"`
	PutOff  float64 `json:"put_off_per_12_weeks"`
	Changes float64 `json:"changes_per_12_weeks"`
	// LostDay is the median day on which 8 % of the weight is lost, with its
	// water; absent when less than half of the people come there.
	LostDay *float64 `json:"median_day_8_pct_lost,omitempty"`
	// UnderFloorPct is the share of days with an intake prescribed that was
	// under the floor when it was set. It has to be 0.
	UnderFloorPct float64 `json:"days_under_floor_pct"`
	// Referred people get no further advice and go on as before.
	Referred int `json:"referred"`
}

func summarise(k Kind, w World, people []outcome) Figures {
	f := Figures{Cohort: k.String(), World: w.String()}
	var n, in80, in95 int
	for i, day := range openDays() {
		o := OpenDay{Day: day}
		var rate, kcal float64
		for _, p := range people {
			g := p.lives[w].open[i]
			if !g.isKnown {
				continue
			}
			o.Estimates++
			rate += g.rateError * g.rateError
			kcal += g.maintenanceKcal * g.maintenanceKcal
			in80 += one(g.in80)
			in95 += one(g.in95)
		}
		n += o.Estimates
		if o.Estimates > 0 {
			of := float64(o.Estimates)
			o.RatePctPerWeek, o.MaintenanceKcal = known(math.Sqrt(rate/of)), known(math.Sqrt(kcal/of))
		}
		f.OpenLoop = append(f.OpenLoop, o)
	}
	if n > 0 {
		f.Covered80, f.Covered95 = known(percent(in80, n)), known(percent(in95, n))
	}
	f.Posterior = sumUp(people, func(p *outcome) course { return p.lives[w].posterior })
	f.Hand = sumUp(people, func(p *outcome) course { return p.lives[w].hand })
	return f
}

// sumUp adds the courses of people, one or more.
func sumUp(people []outcome, of func(*outcome) course) ClosedLoop {
	var all course
	var out ClosedLoop
	lost := make([]float64, 0, len(people))
	for i := range people {
		c := of(&people[i])
		all.daysJudged += c.daysJudged
		all.daysInBand += c.daysInBand
		all.changes += c.changes
		all.falseChanges += c.falseChanges
		all.fastCuts += c.fastCuts
		all.misses += c.misses
		all.putOff += c.putOff
		all.days += c.days
		all.daysUnder += c.daysUnder
		out.Referred += one(c.isReferred)
		day := math.Inf(1)
		if c.lostDay > 0 {
			day = float64(c.lostDay)
		}
		lost = append(lost, day)
	}
	per12Weeks := func(n int) float64 { return 84 * float64(n) / float64(all.daysJudged) }
	out.InBandPct, out.UnderFloorPct = percent(all.daysInBand, all.daysJudged), percent(all.daysUnder, all.days)
	out.FalseChanges, out.FastCuts = per12Weeks(all.falseChanges), per12Weeks(all.fastCuts)
	out.Misses, out.PutOff, out.Changes = per12Weeks(all.misses), per12Weeks(all.putOff), per12Weeks(all.changes)
	slices.Sort(lost)
	if mid := (lost[(len(lost)-1)/2] + lost[len(lost)/2]) / 2; !math.IsInf(mid, 1) {
		out.LostDay = known(mid)
	}
	return out
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

func percent(n, of int) float64 { return 100 * float64(n) / float64(of) }

func known(v float64) *float64 { return &v }
