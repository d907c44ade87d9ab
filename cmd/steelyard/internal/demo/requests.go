package demo

import (
	"fmt"
	"time"
)

// Request is a JSON request that the demo's server answers.
type Request struct {
	About  string
	Method string
	Path   string
	Body   string // empty for none
}

// Requests returns requests to try on scenarios that were played: one whose plan
// is over, and one that is on its way.
func Requests(over, sc Scenario) []Request {
	last, next := sc.LastDay.Format(time.DateOnly), sc.LastDay.AddDate(0, 0, 1)
	return []Request{
		{
			About:  "The recommendation of a day, with its reasons and cautions",
			Method: "GET", Path: "/v1/" + sc.PlanName() + ":recommend?asOfDate=" + last,
		},
		{
			About:  "The weight trend of the weeks before, with its uncertainty",
			Method: "GET", Path: "/v1/trainees/" + sc.TraineeID + "/weightTrend?startDate=" + sc.LastDay.AddDate(0, 0, -28).Format(time.DateOnly) + "&endDate=" + last,
		},
		{
			About:  "A weigh-in of the day after; sent again, it is the same entry",
			Method: "POST", Path: "/v1/trainees/" + sc.TraineeID + "/entries",
			Body: fmt.Sprintf(`{"date": {"year": %d, "month": %d, "day": %d}, "weighIn": {"weight": {"value": 190.5, "unit": "MASS_UNIT_POUND"}}}`,
				next.Year(), next.Month(), next.Day()),
		},
		{
			About:  "The timeline of the plan that is over, and what it has given",
			Method: "GET", Path: "/v1/" + over.PlanName() + ":timeline?asOfDate=" + over.LastDay.Format(time.DateOnly),
		},
	}
}

// Command returns the request for a shell in which KEY holds the key.
func (r Request) Command(httpAddress string) string {
	s := `curl -sS -H "Authorization: Bearer $KEY"`
	if r.Body != "" {
		s += " -d '" + r.Body + "'"
	}
	return s + " 'http://" + httpAddress + r.Path + "'"
}

// GRPCCommand returns the first request as a gRPC call, for a client that reads
// the server's reflection.
func GRPCCommand(sc Scenario, grpcAddress string) string {
	return fmt.Sprintf(`grpcurl -plaintext -H "authorization: Bearer $KEY" -d '{"name": "%s", "as_of_date": {"year": %d, "month": %d, "day": %d}}' %s steelyard.v1.PhaseService/Recommend`,
		sc.PlanName(), sc.LastDay.Year(), sc.LastDay.Month(), sc.LastDay.Day(), grpcAddress)
}
