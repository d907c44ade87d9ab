package cohort

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// row is a line of the table: a figure of each column, with the aim for it.
type row struct {
	label  string
	format string
	of     func(Figures) *float64
	aims   [3]string // general, easy, hard; what the project asks of the engine on steady people
}

func rows() []row {
	openDay := func(i int, aim string) row {
		return row{fmt.Sprintf("rate error on day %d, %%/week", openDays()[i]), "%.3f",
			func(f Figures) *float64 { return f.OpenLoop[i].RatePctPerWeek }, [3]string{aim, "", ""}}
	}
	maintenance := func(i int) row {
		return row{fmt.Sprintf("maintenance error on day %d, kcal", openDays()[i]), "%.0f",
			func(f Figures) *float64 { return f.OpenLoop[i].MaintenanceKcal }, [3]string{}}
	}
	out := []row{
		{label: "OPEN LOOP"},
		openDay(0, "<=0.23"), openDay(1, "<=0.20"), openDay(2, "<=0.17"), openDay(3, "<=0.11"),
		maintenance(0), maintenance(1), maintenance(2), maintenance(3),
		{"in the 80 % interval, %", "%.1f", func(f Figures) *float64 { return f.Covered80 }, [3]string{}},
		{"in the 95 % interval, %", "%.1f", func(f Figures) *float64 { return f.Covered95 }, [3]string{"94-99", "", ">=91"}},
		{label: "CLOSED LOOP, ENGINE"},
	}
	aims := [][3]string{
		{">=83", ">=93", ">=71"}, {"<=1.0", "<=0.8", "<=1.1"}, {"<=0.02", "<=0.02", "<=0.02"},
		{"<=0.25", "<=0.06", "<=0.30"}, {}, {"<=2.2", "<=1.4", "<=2.8"},
		{"hand+8", "hand+12", "hand+8"}, {"0", "0", "0"}, {},
	}
	closed := func(of func(Figures) *ClosedLoop, aims [][3]string) {
		for i, r := range closedRows() {
			line := row{label: r.label, format: r.format, of: func(f Figures) *float64 { return r.of(of(f)) }}
			if aims != nil {
				line.aims = aims[i]
			}
			out = append(out, line)
		}
	}
	closed(func(f Figures) *ClosedLoop { return &f.Posterior }, aims)
	out = append(out, row{label: "CLOSED LOOP, HAND METHOD"})
	closed(func(f Figures) *ClosedLoop { return &f.Hand }, nil)
	return out
}

type closedRow struct {
	label, format string
	of            func(*ClosedLoop) *float64
}

func closedRows() []closedRow {
	return []closedRow{
		{"days with a rate of 0.5-1 %, %", "%.1f", func(c *ClosedLoop) *float64 { return &c.InBandPct }},
		{"false changes", "%.2f", func(c *ClosedLoop) *float64 { return &c.FalseChanges }},
		{"cuts while losing over 1 %", "%.3f", func(c *ClosedLoop) *float64 { return &c.FastCuts }},
		{"material misses", "%.2f", func(c *ClosedLoop) *float64 { return &c.Misses }},
		{"put off", "%.2f", func(c *ClosedLoop) *float64 { return &c.PutOff }},
		{"changes", "%.2f", func(c *ClosedLoop) *float64 { return &c.Changes }},
		{"median day to 8 % lost", "%.0f", func(c *ClosedLoop) *float64 { return c.LostDay }},
		{"days under the floor, %", "%.3g", func(c *ClosedLoop) *float64 { return &c.UnderFloorPct }},
		{"people referred", "%.0f", func(c *ClosedLoop) *float64 { return known(float64(c.Referred)) }},
	}
}

const labelWidth = 34

// WriteText writes a report as a table. "-" is a figure that is not known.
func (r Report) WriteText(w io.Writer) error {
	fmt.Fprintf(w, "%d people of each cohort, each in two worlds, %d days, seed %d.\n", r.People, r.Days, r.Seed)
	fmt.Fprint(w, "Errors are root mean square. Changes and misses are per 12 weeks. Aims are for the steady world.\n\n")
	tab := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	line := func(cells ...string) { fmt.Fprintln(tab, strings.Join(cells, "\t")+"\t") }
	head, under := []string{""}, []string{""}
	for _, f := range r.Cohorts {
		head, under = append(head, f.Cohort), append(under, f.World)
		if f.World == Wandering.String() {
			head, under = append(head, f.Cohort), append(under, "aim")
		}
	}
	line(head...)
	line(under...)
	for _, row := range rows() {
		cells := []string{fmt.Sprintf("%-*s", labelWidth, row.label)}
		for _, f := range r.Cohorts {
			cell := ""
			if row.of != nil {
				cell = "-"
				if v := row.of(f); v != nil {
					cell = fmt.Sprintf(row.format, *v)
				}
			}
			cells = append(cells, cell)
			if f.World == Wandering.String() {
				cells = append(cells, row.aims[cohortNamed(f.Cohort)])
			}
		}
		line(cells...)
	}
	return tab.Flush()
}

// cohortNamed is the kind of a report's column.
func cohortNamed(name string) Kind {
	for _, k := range Kinds() {
		if k.String() == name {
			return k
		}
	}
	return General
}
