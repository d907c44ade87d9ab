package trends

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/engine/trend"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
)

const (
	// shownDays is how many days are shown when the caller names no first one.
	shownDays = 90
	// mostDays bounds what one call may show: ten years and a bit.
	mostDays = 3660
)

// GetWeightTrend gives the weight trend, day by day.
func (s *Server) GetWeightTrend(ctx context.Context, req *pb.GetWeightTrendRequest) (*pb.WeightTrend, error) {
	first, err := convert.OptDayFromProto(req.GetStartDate(), "start_date")
	if err != nil {
		return nil, err
	}
	in, err := call.AsOf{
		Date: req.GetEndDate(), Field: "end_date", Ahead: ahead, Now: s.Now(), AtLeast: req.GetAtLeastRevision(),
		First: func(last engine.Day) engine.Day { return firstShown(first, last) - warmUpDays },
	}.Read(ctx, s.Windows, call.Scope(ctx, convert.TraineeFrom(req.GetName())))
	if err != nil {
		return nil, err
	}
	start := firstShown(first, in.AsOf)
	switch {
	case in.AsOf < start:
		return nil, fault.InvalidField("end_date", "lies before start_date")
	case in.AsOf-start >= mostDays:
		return nil, fault.InvalidField("start_date", "shows more than %d days", mostDays)
	}
	out := &pb.WeightTrend{
		Name: req.GetName(), Cautions: convert.CautionsToProto(phase.GeneralCautions()),
		Revision: convert.Revision(in.Snapshot.Head), Source: convert.OriginToProto(in.Origin),
		Line_7Days: line(in.Snapshot.Window, in.AsOf, 7), Line_28Days: line(in.Snapshot.Window, in.AsOf, 28),
	}
	var plan *engine.Plan
	if in.Snapshot.Plan != nil {
		plan = &in.Snapshot.Plan.Plan
	}
	// Both are empty when nothing can be estimated.
	track, smoothed, _ := phase.Smooth(in.Snapshot.Window, in.Snapshot.Trainee.Profile, plan, in.AsOf)
	for d := start; d <= in.AsOf; d++ {
		p := &pb.TrendPoint{Date: convert.DayToProto(d), ReadingKg: convert.OptToProto(in.Snapshot.Window.At(d).WeightKg)}
		if i := int(d - in.Snapshot.Window.First); i < len(track.Days) {
			describe(p, track.Days[i], smoothed[i])
		}
		out.Points = append(out.Points, p)
	}
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}

func firstShown(asked engine.OptDay, last engine.Day) engine.Day {
	if asked.OK {
		return asked.Day
	}
	return last - shownDays + 1
}

// describe adds what the filter says of a day, and what the smoother says of it
// in hindsight.
func describe(p *pb.TrendPoint, filtered, smoothed balance.State) {
	p.RefusedReason = filtered.Refused.String()
	if filtered.Started {
		p.TrendWeightKg, p.TrendWeightSdKg = &filtered.TrendWeightKg, &filtered.TrendWeightSDKg
	}
	if smoothed.Started {
		p.SmoothedWeightKg, p.SmoothedWeightSdKg = &smoothed.TrendWeightKg, &smoothed.TrendWeightSDKg
	}
}

// line fits a plain line to the readings of the last days; nil when there is none to fit.
func line(w engine.Window, last engine.Day, days engine.Day) *pb.FittedLine {
	x, kg := trend.LastReadings(w.Between(last-days+1, last+1), last, int(days))
	l, ok := trend.Fit(x, kg)
	if !ok {
		return nil
	}
	low, high, ok := l.SlopeInterval(0.95)
	if !ok || !l.SlopeSE.OK || !l.ResidualSD.OK {
		return nil
	}
	return &pb.FittedLine{
		Readings: int32(l.N), SlopeKgPerWeek: 7 * l.Slope, SlopeSeKgPerWeek: 7 * l.SlopeSE.V, ResidualSdKg: l.ResidualSD.V,
		Slope_95:       &pb.Interval{Low: 7 * low, High: 7 * high},
		RatePctPerWeek: 0 - 700*l.Slope/l.Intercept,
	}
}
