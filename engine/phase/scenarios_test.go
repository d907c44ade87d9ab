package phase

import (
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"slices"
	"strconv"
	"testing"

	"example.com/steelyard/engine"
)

// cutting is an invented trainee n days into a cut at 2100 kcal a day, after a
// test of ten days; the guess is a little low.
func cutting(seed uint64, n int) *trainee {
	p := newTrainee(seed)
	p.maintenance = 3050
	p.plan.Decisions = []engine.Decision{{From: start, Action: engine.KeepLogging, Target: engine.Target{IntakeKcal: 2700}}}
	p.live(10, 0)
	p.plan.Decisions = append(p.plan.Decisions, engine.Decision{From: start + 10, Action: engine.StartDeficit, Target: engine.Target{IntakeKcal: 2100}})
	p.live(n, 0)
	return p
}

// lifts logs sessions of some lifts every third day from four weeks before the
// cut on; each keeps perDay of its strength from day to day once the cut is on.
func (p *trainee) lifts(perDay float64, names ...string) {
	cut := CutStart(p.plan, p.today())
	for d := cut.Day - 28; d < p.today(); d += 3 {
		for _, name := range names {
			p.window.Lifts = append(p.window.Lifts, engine.LiftDay{
				Day: d, Lift: name, Sets: 4, HardSets: 4,
				BestE1RM: engine.Some(100 * math.Pow(perDay, max(float64(d-cut.Day), 0))),
			})
		}
	}
}

// checkIn answers all four questions alike, today less so many days.
func (p *trainee) checkIn(back, score int, slog engine.Answer) {
	p.back(back).CheckIn = engine.CheckIn{HungerEase: score, Energy: score, Sleep: score, TrainingDrive: score, WasSlog: slog}
}

// decide records a decision from today on.
func (p *trainee) decide(a engine.Action, t engine.Target) {
	p.plan.Decisions = append(p.plan.Decisions, engine.Decision{From: p.today(), Action: a, Target: t, By: "coach"})
}

// settled is cutting with the base activity in place and no refeeds, so that
// reviews are about the loss alone.
func settled(seed uint64, n int) *trainee {
	p := cutting(seed, n)
	p.plan.BaseActivityKcal, p.plan.AllowRefeeds = 0, false
	p.back(n).HasPhotos = true
	return p
}

// back is the row of so many days ago.
func (p *trainee) back(n int) *engine.WindowDay { return &p.window.Days[len(p.window.Days)-n] }

// scenarios are small stories and what is to come of them. Every code must
// come up in one of them and stay away in another; see the test below.
var scenarios = []struct {
	what   string
	play   func() Recommendation
	action engine.Action
	codes  []Code // of findings and cautions: all of these
	never  []Code // none of these
}{
	{"closed", func() Recommendation {
		p := cutting(1, 20)
		p.plan.State = engine.PlanClosed
		return p.morning()
	}, engine.KeepLogging, []Code{CodeClosed, CodeNotMedicalAdvice, CodeTrackedIntake}, nil},
	{"before the plan", func() Recommendation {
		p := newTrainee(1)
		p.window.First = start - 10
		p.live(5, 2700)
		return p.morning()
	}, engine.KeepLogging, []Code{CodeNotStarted}, []Code{CodeNoReviewDue}},
	{"second day of the test", func() Recommendation {
		p := newTrainee(1)
		p.live(1, 2700)
		return p.morning()
	}, engine.KeepLogging, []Code{CodeNoReviewDue}, []Code{CodeNotEnoughReadings, CodeNoEstimate, CodeAgeUnknown}},
	{"end of the test", func() Recommendation {
		p := newTrainee(1)
		p.live(10, 2700)
		return p.morning()
	}, engine.StartDeficit, []Code{CodeCutStarts}, []Code{CodeNoReviewDue, CodeWaterDays, CodeLogGap}},
	{"no profile to speak of", func() Recommendation {
		p := newTrainee(1)
		p.profile = engine.Profile{}
		p.live(10, 2700)
		return p.morning()
	}, engine.KeepLogging, []Code{CodeProfileIncomplete, CodeAgeUnknown}, []Code{CodeCutStarts}},
	{"a plan nobody should follow", func() Recommendation {
		p := newTrainee(1)
		p.plan.PacePctPerWeek = 3
		p.live(10, 2700)
		return p.morning()
	}, engine.KeepLogging, []Code{CodePlanNotValid}, []Code{CodeCutStarts}},
	{"under age, pregnant, fainting, too light and aiming lower", func() Recommendation {
		p := newTrainee(1)
		birth, _ := engine.DayOf(2010, 1, 1)
		p.profile.BirthDate = engine.SomeDay(birth)
		p.profile.Conditions = engine.Pregnant
		p.plan.GoalWeightKg = engine.Some(50)
		p.live(10, 2700)
		setWeights(p, 58)
		p.back(1).Marks = p.back(1).Marks.With(engine.MarkFainting)
		return p.morning()
	}, engine.Refer, []Code{CodeUnderage, CodeCondition, CodeUnderweight, CodeGoalUnderweight, CodeWarningSign}, []Code{CodeReferralRecorded}},
	{"a referral on record", func() Recommendation {
		p := cutting(1, 20)
		p.plan.Decisions = append(p.plan.Decisions, engine.Decision{From: p.today(), Action: engine.Refer, Target: engine.Target{IntakeKcal: 2100}})
		return p.morning()
	}, engine.Refer, []Code{CodeReferralRecorded}, []Code{CodeUnderage, CodeCondition, CodeUnderweight, CodeGoalUnderweight, CodeWarningSign, CodeUnexplainedLoss}},
	{"losing fast at maintenance", func() Recommendation {
		p := newTrainee(1)
		p.maintenance = 5600
		p.live(14, 2700)
		return p.morning()
	}, engine.Refer, []Code{CodeUnexplainedLoss}, nil},
	{"a target that somebody set under the floor", func() Recommendation {
		p := cutting(1, 20)
		p.plan.Decisions[1].Target.IntakeKcal = 1200
		return p.morning()
	}, engine.RaiseBalance, []Code{CodeTargetUnderFloor}, nil},
	{"eating under the floor without being told to", func() Recommendation {
		p := cutting(1, 12)
		for i := 1; i <= 7; i++ {
			p.back(i).IntakeKcal = engine.Some(1300)
		}
		return p.morning()
	}, engine.Hold, []Code{CodeEatingUnderFloor}, []Code{CodeTargetUnderFloor}},
	{"third day of the cut: water, not tissue", func() Recommendation {
		return cutting(2, 3).morning()
	}, engine.Hold, []Code{CodeWaterDays, CodeNoReviewDue}, []Code{CodeTooFast}},
	{"fourth day of the cut", func() Recommendation {
		return cutting(2, 4).morning()
	}, engine.Hold, []Code{CodeNoReviewDue}, []Code{CodeWaterDays}},
	{"first review, too few readings", func() Recommendation {
		p := cutting(3, 10)
		for i := 1; i <= 5; i++ {
			p.back(i).WeightKg = engine.Opt{}
		}
		return p.morning()
	}, engine.KeepLogging, []Code{CodeNotEnoughReadings}, []Code{CodeNotEnoughLogged, CodeLogGap, CodeOnTrack, CodeTooSlow}},
	{"first review, too little log", func() Recommendation {
		p := cutting(3, 10)
		for i := 1; i <= 4; i++ {
			p.back(i).IntakeKcal = engine.Opt{}
		}
		return p.morning()
	}, engine.KeepLogging, []Code{CodeNotEnoughLogged}, []Code{CodeNotEnoughReadings, CodeOnTrack, CodeTooSlow}},
	{"first review after nothing but silence", func() Recommendation {
		p := cutting(3, 10)
		for i := range p.window.Days {
			p.window.Days[i].WeightKg = engine.Opt{}
		}
		return p.morning()
	}, engine.KeepLogging, []Code{CodeNoEstimate}, []Code{CodeOnTrack, CodeTooSlow}},
	{"a hole of four days in the log", func() Recommendation {
		p := settled(3, 24)
		for i := 6; i <= 9; i++ {
			*p.back(i) = engine.WindowDay{}
		}
		return p.morning()
	}, engine.Hold, []Code{CodeLogGap}, []Code{CodeNotEnoughReadings}},
	{"on track", func() Recommendation {
		p := settled(3, 24)
		return p.morning()
	}, engine.Hold, []Code{CodeOnTrack}, []Code{CodeTooSlow, CodeTooFast, CodeNotClearlyOffTrack}},
	{"slow", func() Recommendation {
		p := cutting(3, 0)
		p.plan.Decisions[1].Target.IntakeKcal = 2650
		p.live(24, 0)
		return p.morning()
	}, engine.LowerBalance, []Code{CodeTooSlow}, []Code{CodeTargetNotMet, CodeOnTrack, CodeAtFloor}},
	{"slow because the target is not met", func() Recommendation {
		p := cutting(3, 0)
		p.over = 0.15
		p.live(24, 0)
		return p.morning()
	}, engine.MeetTarget, []Code{CodeTargetNotMet}, []Code{CodeTooSlow}},
	{"slow with no room left", func() Recommendation {
		p := cutting(3, 0)
		p.plan.Decisions[1].Target.IntakeKcal = 2650
		p.plan.IntakeFloorKcal = engine.Some(2600)
		p.plan.ActivityLever = false
		p.live(24, 0)
		return p.morning()
	}, engine.Hold, []Code{CodeTooSlow, CodeAtFloor}, nil},
	{"fast", func() Recommendation {
		p := cutting(3, 0)
		p.maintenance = 3900
		p.live(30, 0)
		return p.morning()
	}, engine.RaiseBalance, []Code{CodeTooFast}, []Code{CodeTooSlow, CodeGallstones}},
	{"so fast that gallstones are a worry", func() Recommendation {
		p := cutting(3, 0)
		p.maintenance = 5400
		p.live(40, 0)
		return p.morning()
	}, engine.RaiseBalance, []Code{CodeTooFast, CodeGallstones}, nil},
	{"over the band, more likely than not", func() Recommendation {
		p := cutting(3, 0)
		p.maintenance = 3550
		p.live(24, 0)
		return p.morning()
	}, engine.RaiseBalance, []Code{CodeTooFast}, []Code{CodeOnTrack, CodeNotClearlyOffTrack}},
	{"under the band, and the table's line in it", func() Recommendation {
		p := cutting(15, 0)
		p.plan.BaseActivityKcal, p.plan.AllowRefeeds, p.plan.Method = 0, false, engine.PracticeTable
		p.maintenance = 2700
		p.live(24, 0)
		return p.morning()
	}, engine.Hold, []Code{CodeNotClearlyOffTrack}, []Code{CodeOnTrack, CodeTooSlow}},
	{"at the goal", func() Recommendation {
		p := settled(3, 24)
		p.plan.GoalWeightKg = engine.Some(87.5)
		return p.morning()
	}, engine.ReturnToMaintenance, []Code{CodeGoalReached, CodeWaterBack}, []Code{CodeTooSlow}},
	{"the table without a line", func() Recommendation {
		p := cutting(3, 16)
		p.plan.Method = engine.PracticeTable
		p.plan.Decisions = append(p.plan.Decisions, engine.Decision{From: start + 19, Action: engine.Hold, Target: engine.Target{IntakeKcal: 2150}}) // water until day 22
		for i := 1; i <= 2; i++ {
			p.back(i).WeightKg = engine.Opt{}
		}
		return p.morning()
	}, engine.KeepLogging, []Code{CodeNoLine}, []Code{CodeOnTrack}},
	{"a typing error and a reading that is merely odd", func() Recommendation {
		p := settled(3, 24)
		p.back(6).WeightKg.V += 10
		p.back(3).WeightKg.V += 1.9
		return p.morning()
	}, engine.Hold, []Code{CodeReadingRefused, CodeReadingDoubtful}, nil},
	{"two days after a refeed", func() Recommendation {
		p := settled(3, 24)
		p.back(2).Marks = p.back(2).Marks.With(engine.MarkRefeed)
		return p.morning()
	}, engine.Hold, []Code{CodeRefeedWater}, []Code{CodeReadingRefused, CodeReadingDoubtful, CodeEatingUnderFloor}},
	{"four days after a refeed", func() Recommendation {
		p := settled(3, 24)
		p.back(4).Marks = p.back(4).Marks.With(engine.MarkRefeed)
		return p.morning()
	}, engine.Hold, nil, []Code{CodeRefeedWater, CodePaceCapped}},
	{"a heavy trainee", func() Recommendation {
		p := newTrainee(3)
		p.tissueKg, p.startKg, p.maintenance = 140, 140, 3300
		p.profile.MaintenanceGuessKcal = engine.Some(3300)
		p.live(10, 3300)
		return p.morning()
	}, engine.StartDeficit, []Code{CodePaceCapped}, nil},
	{"lean at the body-fat goal", func() Recommendation {
		p := settled(3, 24)
		p.plan.GoalBodyFatPct = engine.Some(16)
		p.window.BodyFat = []engine.BodyFatReading{{Day: p.today() - 3, BodyFat: engine.BodyFat{Pct: 15.5, Method: engine.BodyFatDXA}}}
		return p.morning()
	}, engine.ReturnToMaintenance, []Code{CodeGoalReached}, []Code{CodeGoalNotMeasured, CodeGoalTooLean}},
	{"a body-fat goal and nothing measured", func() Recommendation {
		p := settled(3, 24)
		p.plan.GoalBodyFatPct = engine.Some(12)
		return p.morning()
	}, engine.Hold, []Code{CodeGoalNotMeasured, CodeOnTrack}, []Code{CodeGoalReached, CodeEnergyAvailability}},
	{"a body-fat goal that no body should have", func() Recommendation {
		p := settled(3, 24)
		p.plan.GoalBodyFatPct = engine.Some(4)
		return p.morning()
	}, engine.Refer, []Code{CodeGoalTooLean}, nil},
	{"little energy for a lean body", func() Recommendation {
		p := settled(3, 24)
		p.window.BodyFat = []engine.BodyFatReading{{Day: p.today() - 3, BodyFat: engine.BodyFat{Pct: 8, Method: engine.BodyFatDXA}}}
		return p.morning()
	}, engine.Hold, []Code{CodeEnergyAvailability}, nil},
	{"ill at the review", func() Recommendation {
		p := settled(3, 24)
		p.back(2).Marks = p.back(2).Marks.With(engine.MarkIllness)
		return p.morning()
	}, engine.Hold, []Code{CodePaused}, []Code{CodeOnTrack, CodeNoReviewDue}},
	{"well again for three days", func() Recommendation {
		p := settled(3, 24)
		p.back(3).Marks = p.back(3).Marks.With(engine.MarkIllness)
		return p.morning()
	}, engine.Hold, []Code{CodeOnTrack}, []Code{CodePaused}},
	{"day 17 of the cut", func() Recommendation {
		return cutting(3, 17).morning()
	}, engine.AddBaseActivity, []Code{CodeBaseActivity, CodePicturesDue}, []Code{CodeRefeedsDue, CodeAskSlog, CodeWeighLessOften}},
	{"day 16 of the cut", func() Recommendation {
		return cutting(3, 16).morning()
	}, engine.Hold, []Code{CodeOnTrack}, []Code{CodeBaseActivity, CodeNotClearlyOffTrack}},
	{"day 31 of the cut", func() Recommendation {
		p := settled(3, 31)
		p.plan.AllowRefeeds = true
		return p.morning()
	}, engine.ChangeRefeeds, []Code{CodeRefeedsDue, CodeWeighLessOften, CodeAskSlog, CodePicturesDue}, []Code{CodeRefeedsWait, CodeBreakOffered, CodePaceEased}},
	{"day 29 of the cut, the first month said to be fine", func() Recommendation {
		p := settled(3, 29)
		p.plan.AllowRefeeds = true
		p.checkIn(1, 4, engine.No)
		p.back(3).HasPhotos = true
		return p.morning()
	}, engine.Hold, []Code{CodeOnTrack}, []Code{CodeRefeedsDue, CodeAskSlog, CodeSlog, CodeStrainHigh, CodePicturesDue, CodeWeighLessOften}},
	{"refeeds due, and the loss too slow", func() Recommendation {
		p := settled(3, 0+1)
		p.plan.AllowRefeeds = true
		p.plan.Decisions[1].Target.IntakeKcal = 2650
		p.live(34, 0)
		return p.morning()
	}, engine.LowerBalance, []Code{CodeRefeedsWait}, []Code{CodeRefeedsDue, CodeLongDeficit}},
	{"a first month that was a slog", func() Recommendation {
		p := settled(3, 30)
		p.checkIn(2, 3, engine.Yes)
		return p.morning()
	}, engine.Ease, []Code{CodeSlog}, []Code{CodeStrainHigh, CodeAskSlog}},
	{"hard to bear: ease", func() Recommendation {
		p := settled(3, 30)
		p.checkIn(2, 2, engine.Unanswered)
		return p.morning()
	}, engine.Ease, []Code{CodeStrainHigh}, []Code{CodeSlog, CodeBreakForHunger}},
	{"hard to bear and eased already: refeeds", func() Recommendation {
		p := settled(3, 24)
		p.plan.AllowRefeeds = true
		p.decide(engine.Ease, engine.Target{IntakeKcal: 2150})
		p.live(14, 0)
		p.checkIn(2, 1, engine.Yes)
		return p.morning()
	}, engine.ChangeRefeeds, []Code{CodeStrainHigh, CodePaceEased}, []Code{CodeSlog, CodePaceCapped}},
	{"hard to bear, eased, and no refeeds allowed: a break", func() Recommendation {
		p := settled(3, 24)
		p.decide(engine.Ease, engine.Target{IntakeKcal: 2150})
		p.live(14, 0)
		p.checkIn(2, 1, engine.Unanswered)
		return p.morning()
	}, engine.TakeBreak, []Code{CodeStrainHigh, CodeBreakForHunger}, []Code{CodeLongDeficit, CodeBreakOffered}},
	{"twelve weeks, and middling check-ins", func() Recommendation {
		p := settled(3, 84)
		p.checkIn(2, 3, engine.Unanswered)
		return p.morning()
	}, engine.TakeBreak, []Code{CodeLongDeficit, CodeBreakForHunger}, []Code{CodeStrainHigh, CodeBreakOffered}},
	{"twelve weeks, and all is well", func() Recommendation {
		p := settled(3, 84)
		p.checkIn(2, 4, engine.Unanswered)
		return p.morning()
	}, engine.Hold, []Code{CodeBreakOffered}, []Code{CodeLongDeficit, CodeBreakForHunger}},
	{"on a break", func() Recommendation {
		p := settled(3, 84)
		p.decide(engine.TakeBreak, engine.Target{IntakeKcal: 2850})
		p.live(4, 0)
		return p.morning()
	}, engine.Hold, []Code{CodeNoReviewDue}, []Code{CodeBreakOver, CodeCutStarts}},
	{"after a break", func() Recommendation {
		p := settled(3, 84)
		p.decide(engine.TakeBreak, engine.Target{IntakeKcal: 2850})
		p.live(10, 0)
		return p.morning()
	}, engine.StartDeficit, []Code{CodeBreakOver}, []Code{CodeCutStarts, CodeNoReviewDue}},
	{"lifts fall while the loss is fast", func() Recommendation {
		p := settled(3, 0+1)
		p.maintenance = 3450
		p.live(34, 0)
		p.lifts(0.997, "press", "row", "squat")
		return p.morning()
	}, engine.Ease, []Code{CodeStrengthFalls}, []Code{CodeTooFast, CodeStrainHigh}},
	{"lifts hold while the loss is fast", func() Recommendation {
		p := settled(3, 0+1)
		p.maintenance = 3450
		p.live(34, 0)
		p.lifts(1, "press", "row", "squat")
		return p.morning()
	}, engine.Hold, nil, []Code{CodeStrengthFalls}},
	{"first step up", func() Recommendation {
		p := settled(3, 40)
		p.decide(engine.ReturnToMaintenance, engine.Target{IntakeKcal: 2400})
		p.live(7, 0)
		return p.morning()
	}, engine.ReturnToMaintenance, []Code{CodeStepToMaintenance}, []Code{CodeWatching, CodePlanFinishes, CodeGoalReached, CodeWaterBack}},
	{"watching", func() Recommendation {
		p := settled(3, 40)
		p.decide(engine.ReturnToMaintenance, engine.Target{IntakeKcal: 2850})
		p.live(14, 0)
		return p.morning()
	}, engine.Hold, []Code{CodeWatching}, []Code{CodeStepToMaintenance, CodePlanFinishes, CodePlanSummary}},
	{"watched for three weeks", func() Recommendation {
		p := settled(3, 40)
		p.decide(engine.ReturnToMaintenance, engine.Target{IntakeKcal: 2850})
		p.live(21, 0)
		return p.morning()
	}, engine.Finish, []Code{CodePlanFinishes, CodePlanSummary}, []Code{CodePlanFinished, CodeWatching}},
	{"finished", func() Recommendation {
		p := settled(3, 40)
		p.decide(engine.Finish, engine.Target{IntakeKcal: 2850})
		p.live(21, 0)
		return p.morning()
	}, engine.Finish, []Code{CodePlanFinished}, []Code{CodePlanFinishes, CodeNoReviewDue}},
	{"weekends", func() Recommendation {
		p := settled(3, 0+1)
		p.spread = 0.03
		p.live(28, 0)
		for i := 1; i <= 28; i++ {
			if wd := (p.today() - engine.Day(i)).Weekday(); wd == 0 || wd == 6 {
				p.back(i).IntakeKcal.V += 350
			}
		}
		return p.morning()
	}, engine.Hold, []Code{CodeWeekendPattern}, nil},
	{"the weekend has its own target", func() Recommendation {
		p := settled(3, 0+1)
		p.plan.WeekendExtraKcal = 350
		p.spread = 0.03
		p.live(28, 0)
		return p.morning()
	}, engine.Hold, nil, []Code{CodeWeekendPattern}},
	{"little protein", func() Recommendation {
		p := settled(3, 24)
		for i := 1; i <= 7; i++ {
			p.back(i).ProteinG = engine.Some(110)
		}
		return p.morning()
	}, engine.Hold, []Code{CodeProteinLow}, nil},
	{"enough protein", func() Recommendation {
		p := settled(3, 24)
		for i := 1; i <= 7; i++ {
			p.back(i).ProteinG = engine.Some(150)
		}
		return p.morning()
	}, engine.Hold, nil, []Code{CodeProteinLow}},
	{"four stable weeks before the cut", func() Recommendation {
		p := newTrainee(4)
		p.noiseKg = 0.15
		p.live(30, 2700)
		return p.morning()
	}, engine.StartDeficit, []Code{CodeStableWeeks}, nil},
	{"two weeks before the cut", func() Recommendation {
		p := newTrainee(4)
		p.noiseKg = 0.15
		p.live(14, 2700)
		return p.morning()
	}, engine.StartDeficit, nil, []Code{CodeStableWeeks}},
}

func TestScenarios(t *testing.T) {
	came, stayedAway := map[Code]bool{}, map[Code]bool{}
	for _, s := range scenarios {
		r := s.play()
		if r.Action != s.action {
			t.Errorf("%s: action %d, want %d: %s", s.what, r.Action, s.action, r.Headline)
		}
		var got []Code
		for _, f := range r.Findings {
			got = append(got, f.Code)
			if f.Sentence == "" || f.Severity == SeverityUnspecified {
				t.Errorf("%s: %+v", s.what, f)
			}
		}
		for _, c := range r.Cautions {
			got = append(got, c.Code)
		}
		for _, c := range s.codes {
			came[c] = true
			if !slices.Contains(got, c) {
				t.Errorf("%s: no %s in %v", s.what, c, got)
			}
		}
		for _, c := range s.never {
			stayedAway[c] = true
			if slices.Contains(got, c) {
				t.Errorf("%s: %s came up", s.what, c)
			}
		}
	}
	always := []Code{CodeNotMedicalAdvice, CodeTrackedIntake} // never stay away
	rare := []Code{CodeClosed, CodeProfileIncomplete, CodePlanNotValid, CodeNotStarted, CodeGoalReached, CodeNoLine}
	for _, c := range declaredCodes(t) {
		if !came[c] {
			t.Errorf("no scenario in which %s comes up", c)
		}
		if !stayedAway[c] && !slices.Contains(always, c) && !slices.Contains(rare, c) {
			t.Errorf("no scenario in which %s must stay away", c)
		}
	}
}

// declaredCodes reads the codes from their source, so that a new one cannot be
// forgotten here.
func declaredCodes(t *testing.T) []Code {
	file, err := parser.ParseFile(token.NewFileSet(), "codes.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var codes []Code
	ast.Inspect(file, func(n ast.Node) bool {
		if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			s, _ := strconv.Unquote(lit.Value)
			codes = append(codes, Code(s))
		}
		return true
	})
	if len(codes) < 30 {
		t.Fatalf("found only %d codes", len(codes))
	}
	return codes
}
