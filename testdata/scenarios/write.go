package scenarios

import (
	"fmt"
	"slices"
	"strings"

	"example.com/steelyard/engine"
)

// generatedMark begins the part of a file that a simulated trainee wrote.
const generatedMark = "# What follows was made by the simulated trainee under `made`; do not edit it by hand.\n"

// Head returns the text of a file without its generated part.
func Head(text string) string {
	head, _, _ := strings.Cut(text, generatedMark)
	return head
}

// Rewrite returns the text of a file with its generated part made anew. The log
// must not hold more than a simulated trainee logs.
func Rewrite(text string, log []engine.Entry, decisions []engine.Decision) string {
	var b strings.Builder
	b.WriteString(strings.TrimRight(Head(text), "\n") + "\n\n" + generatedMark + "generated:\n")
	if len(decisions) > 0 {
		b.WriteString("  decisions:\n")
		for _, d := range decisions {
			fmt.Fprintf(&b, "    - %s\n", decisionLine(d))
		}
	}
	writeMarks(&b, log)
	first, last := log[0].Day, log[len(log)-1].Day
	days := int(last-first) + 1
	fmt.Fprintf(&b, "  log:\n    - from: %s\n      days: %d\n", first, days)
	series := map[string][]string{}
	put := func(name string, day engine.Day, token string) {
		if series[name] == nil {
			series[name] = slices.Repeat([]string{"."}, days)
		}
		series[name][day-first] = token
	}
	for _, e := range log {
		switch f := e.Fact.(type) {
		case engine.WeighIn:
			put("weigh_kg", e.Day, fmt.Sprintf("%.1f", f.Weight.Value))
		case engine.Intake:
			put("intake_kcal", e.Day, plain(f.Energy.Value))
		case engine.LiftSet:
			put("lift "+f.Lift, e.Day, fmt.Sprintf("3*%d@%s", f.Reps, plain(f.Load.Value)))
		}
	}
	hasLifts := false
	for _, name := range []string{"weigh_kg", "intake_kcal"} {
		if series[name] != nil {
			writeSeries(&b, "      ", name, series[name])
		}
	}
	for _, name := range sorted(series) {
		if lift, ok := strings.CutPrefix(name, "lift "); ok {
			if !hasLifts {
				b.WriteString("      lifts:\n")
				hasLifts = true
			}
			writeSeries(&b, "        ", lift, series[name])
		}
	}
	return b.String()
}

func writeMarks(b *strings.Builder, log []engine.Entry) {
	byDay := map[string][]string{}
	for _, e := range log {
		if m, ok := e.Fact.(engine.Mark); ok {
			text := markWords[m.Of]
			if m.TargetKcal.OK {
				text += " " + plain(m.TargetKcal.V)
			}
			byDay[e.Day.String()] = append(byDay[e.Day.String()], text)
		}
	}
	if len(byDay) == 0 {
		return
	}
	b.WriteString("  marks:\n")
	for _, day := range sorted(byDay) {
		fmt.Fprintf(b, "    %s: %s\n", day, strings.Join(byDay[day], ", "))
	}
}

// writeSeries writes a week a line.
func writeSeries(b *strings.Builder, indent, name string, tokens []string) {
	fmt.Fprintf(b, "%s%s: >-\n", indent, name)
	for week := range slices.Chunk(tokens, 7) {
		fmt.Fprintf(b, "%s  %s\n", indent, strings.Join(week, " "))
	}
}
