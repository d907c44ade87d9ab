package packed

import (
	"encoding/hex"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

func (w *writer) head(h store.Head) {
	id, err := hex.DecodeString(h.Incarnation)
	isHex := err == nil && len(id) > 0 && hex.EncodeToString(id) == h.Incarnation
	if isHex {
		w.uvarint(uint64(len(id)))
		w.buf = append(w.buf, id...)
	} else {
		w.uvarint(0)
		w.text(h.Incarnation)
	}
	w.varint(h.Revision)
}

func (r *reader) head() store.Head {
	var h store.Head
	if n := r.count(1); n > 0 {
		var text [64]byte
		h.Incarnation = string(hex.AppendEncode(text[:0], r.take(n)))
	} else {
		h.Incarnation = r.text()
	}
	h.Revision = r.varint()
	return h
}

func (w *writer) trainee(t store.Trainee) {
	w.text(t.ID)
	w.text(t.DisplayName)
	w.text(t.TimeZone)
	w.instant(t.Created)
	w.instant(t.Updated)
	p := t.Profile
	w.byte(byte(p.Sex))
	w.byte(byte(p.Activity))
	w.uvarint(uint64(p.Conditions))
	w.flags(p.BirthDate.OK)
	if p.BirthDate.OK {
		w.varint(int64(p.BirthDate.Day))
	}
	w.opt(p.HeightCm)
	w.opt(p.MaintenanceGuessKcal)
}

func (r *reader) trainee() store.Trainee {
	t := store.Trainee{ID: r.text(), DisplayName: r.text(), TimeZone: r.text(), Created: r.instant(), Updated: r.instant()}
	p := &t.Profile
	p.Sex = engine.Sex(r.byte())
	p.Activity = engine.ActivityLevel(r.byte())
	p.Conditions = engine.Condition(r.small(16))
	if r.byte() != 0 {
		p.BirthDate = engine.SomeDay(r.day(0))
	}
	p.HeightCm = r.opt()
	p.MaintenanceGuessKcal = r.opt()
	return t
}

func (w *writer) plan(p *store.Plan) {
	w.flags(p != nil)
	if p == nil {
		return
	}
	w.text(p.ID)
	w.instant(p.Created)
	w.instant(p.Updated)
	w.byte(byte(p.State))
	w.byte(byte(p.Method))
	w.varint(int64(p.Start))
	w.flags(p.SkipMaintenanceTest, p.FoodLever, p.ActivityLever, p.AllowRefeeds)
	for _, o := range []engine.Opt{p.GoalWeightKg, p.GoalBodyFatPct, p.IntakeFloorKcal} {
		w.opt(o)
	}
	for _, v := range []float64{p.BandLowPctPerWeek, p.BandHighPctPerWeek, p.PacePctPerWeek, p.BaseActivityKcal, p.ActivityCapKcal, p.WeekendExtraKcal} {
		w.num(v)
	}
	w.uvarint(uint64(len(p.Decisions)))
	last := p.Start
	for _, d := range p.Decisions {
		w.text(d.ID)
		w.varint(int64(d.From) - int64(last))
		last = d.From
		w.byte(byte(d.Action))
		w.num(d.Target.IntakeKcal)
		w.num(d.Target.ActivityKcal)
		w.varint(int64(d.Target.Refeed.EveryDays))
		w.num(d.Target.Refeed.IntakeKcal)
		w.text(d.By)
		w.text(d.Note)
	}
}

// decisionBytes is what a decision takes at least.
const decisionBytes = 9

func (r *reader) plan() *store.Plan {
	if r.byte() == 0 {
		return nil
	}
	p := &store.Plan{}
	p.ID = r.text()
	p.Created = r.instant()
	p.Updated = r.instant()
	p.State = engine.PlanState(r.byte())
	p.Method = engine.Method(r.byte())
	p.Start = r.day(0)
	flags := r.byte()
	for i, to := range []*bool{&p.SkipMaintenanceTest, &p.FoodLever, &p.ActivityLever, &p.AllowRefeeds} {
		*to = flags&(1<<i) != 0
	}
	for _, to := range []*engine.Opt{&p.GoalWeightKg, &p.GoalBodyFatPct, &p.IntakeFloorKcal} {
		*to = r.opt()
	}
	for _, to := range []*float64{&p.BandLowPctPerWeek, &p.BandHighPctPerWeek, &p.PacePctPerWeek, &p.BaseActivityKcal, &p.ActivityCapKcal, &p.WeekendExtraKcal} {
		*to = r.num()
	}
	n := r.count(decisionBytes)
	if n == 0 {
		return p
	}
	p.Decisions = make([]engine.Decision, n)
	last := p.Start
	for i := range p.Decisions {
		d := &p.Decisions[i]
		d.ID = r.text()
		d.From = r.day(last)
		last = d.From
		d.Action = engine.Action(r.byte())
		d.Target.IntakeKcal = r.num()
		d.Target.ActivityKcal = r.num()
		d.Target.Refeed.EveryDays = r.int()
		d.Target.Refeed.IntakeKcal = r.num()
		d.By = r.text()
		d.Note = r.text()
	}
	return p
}
