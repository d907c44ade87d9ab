package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// pastEvents are the events through asOf; what the log holds counts through last.
func (f *facts) pastEvents(last engine.Day) []Event {
	var events []Event
	if f.plan.Start <= f.asOf {
		events = append(events, Event{Day: f.plan.Start, Kind: EventPlanStart, Sentence: f.beginWords("begins")})
	}
	for i, d := range f.plan.Decisions {
		events = append(events, Event{Day: d.From, Kind: EventDecision, Action: d.Action, Sentence: decisionWords(f.plan.Decisions[:i], d)})
	}
	for i, row := range f.window.Days {
		day := f.window.First + engine.Day(i)
		if day < f.plan.Start || day > last {
			continue
		}
		if row.HasPhotos {
			events = append(events, Event{Day: day, Kind: EventPictures, Sentence: "Pictures were taken."})
		}
		if row.Marks.Has(engine.MarkRefeed) {
			events = append(events, Event{Day: day, Kind: EventRefeed, Sentence: "A refeed was taken."})
		}
	}
	if c, ok := f.weighInCadence(); ok && !c.IsDue {
		events = append(events, c)
	}
	return events
}

// dueEvents are the events that are still to come, today's included, and those that
// are overdue.
func (f *facts) dueEvents() []Event {
	var events []Event
	due := func(day engine.Day, kind EventKind, sentence string) {
		events = append(events, Event{Day: day, Kind: kind, IsDue: true, Sentence: sentence})
	}
	if day := f.plan.Start; day > f.asOf {
		due(day, EventPlanStart, f.beginWords("begins on "+day.String()))
	}
	day := f.picturesDay()
	due(day, EventPictures, "A set of pictures "+f.whenWords(day)+": the mirror and the numbers can disagree for a while.")
	if next := NextReview(f.plan, f.asOf); next.OK {
		due(next.Day, EventReview, "A review "+f.whenWords(next.Day)+".")
	}
	if f.arc.isCutting() {
		f.dueInCut(due)
	}
	if c, ok := f.weighInCadence(); ok && c.IsDue {
		events = append(events, c)
	}
	switch from, back := f.arc.breakStart, f.arc.returnStart; {
	case back.OK:
		day := back.Day + watchDays
		due(day, EventWatchEnd, fmt.Sprintf("The end of the %d days of watching the weight at maintenance %s; then the plan can be finished.", watchDays, f.whenWords(day)))
	case from.OK:
		day := from.Day + breakDays
		due(day, EventBreakEnd, fmt.Sprintf("The end of the diet break of about %d days %s; then the cut can go on.", breakDays, f.whenWords(day)))
	}
	return events
}

// dueInCut are the events that only a cut has. The base activity is for once in
// a plan; the rest counts from the cut as it stands.
func (f *facts) dueInCut(due func(engine.Day, EventKind, string)) {
	base := f.arc.firstCut.Day + baseActivityDays
	if isBaseDue(f.plan, f.arc, max(base, f.asOf)) {
		due(base, EventBaseActivity, fmt.Sprintf("A small base of activity, about %.0f kcal a day, walking first, %s.", f.plan.BaseActivityKcal, f.whenWords(base)))
	}
	if refeeds := f.arc.cut.Day + refeedFromDays; f.plan.AllowRefeeds && f.present.Refeed.EveryDays < 1 {
		due(refeeds, EventRefeed, "From "+refeeds.String()+" on refeeds can be part of the plan, as often as they help and progress allows.")
	}
	if ask := f.arc.cut.Day + slogDays; !f.isSlogAnswered(ask) {
		due(ask, EventCheckIn, "A check-in about the first month "+f.whenWords(ask)+": was it a slog? If so, the pace can be eased.")
	}
}

// picturesDay is when pictures are next to be taken: at the plan's start unless
// a set is recent, then four weeks after the last set.
func (f *facts) picturesDay() engine.Day {
	for i := len(f.window.Days) - 1; i >= 0; i-- {
		if f.window.Days[i].HasPhotos {
			return max(f.window.First+engine.Day(i)+pictureDays, f.plan.Start)
		}
	}
	return f.plan.Start
}

// weighInCadence is the day of the cut from which fewer weigh-ins do; false
// where the cut does not reach it.
func (f *facts) weighInCadence() (Event, bool) {
	day := f.arc.cut.Day + weighInCadenceDays
	if !arcOf(f.plan, day).isCutting() {
		return Event{}, false
	}
	return Event{
		Day: day, Kind: EventWeighInCadence, IsDue: day > f.asOf,
		Sentence: "From " + day.String() + " on a weigh-in every other morning is enough.",
	}, true
}

// slogAnswerDays is how early the first-month question may be answered.
const slogAnswerDays = 14

// isSlogAnswered reports whether a check-in settles the first-month question of
// a day: one of the two weeks before it, or any later one.
func (f *facts) isSlogAnswered(ask engine.Day) bool {
	for i, row := range f.window.Days {
		if f.window.First+engine.Day(i) > ask-slogAnswerDays && row.CheckIn.WasSlog != engine.Unanswered {
			return true
		}
	}
	return false
}
