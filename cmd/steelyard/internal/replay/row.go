package replay

import (
	"bytes"
	"encoding/csv"
	"strconv"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// quoted is a cell as CSV has it.
func quoted(cell string) string {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{cell}) // a buffer takes everything
	w.Flush()
	return string(bytes.TrimSuffix(b.Bytes(), []byte("\n")))
}

// writeRow writes one morning, numbers with all their digits.
func writeRow(out *bytes.Buffer, id string, s balance.State) {
	band := engine.DefaultPlan(0)
	line := out.AvailableBuffer()
	line = append(line, id...)
	line = append(line, ',')
	line = append(line, s.Day.String()...)
	if !s.Started {
		out.Write(append(line, ",,,,,,,,,\n"...))
		return
	}
	for _, v := range [...]float64{
		s.TrendWeightKg, s.RatePctPerWeek, s.RateSDPctPerWeek, s.MaintenanceKcal, s.MaintenanceSDKcal,
		s.PRateBelow(band.BandLowPctPerWeek), 1 - s.PRateBelow(band.BandHighPctPerWeek),
	} {
		line = append(line, ',')
		line = strconv.AppendFloat(line, v, 'g', -1, 64)
	}
	for _, n := range [...]int{s.ReadingsUsed, s.ReadingsRefused} {
		line = append(line, ',')
		line = strconv.AppendInt(line, int64(n), 10)
	}
	out.Write(append(line, '\n'))
}
