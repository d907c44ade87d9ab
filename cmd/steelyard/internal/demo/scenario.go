// Package demo plays an invented scenario against a running Steelyard, through
// its API: it creates the trainees, sends their logs, asks for a recommendation
// at each review and decides as recommended.
package demo

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/logcsv"
)

// Scenario is one trainee's plan and log.
type Scenario struct {
	TraineeID string
	About     string // what to watch for, for the reader
	Trainee   *steelyardv1.Trainee
	PlanID    string
	Plan      *steelyardv1.Plan
	Looks     []Look
	InFull    []string    // codes of findings whose first recommendation is printed in full
	Pictures  []time.Time // days on which pictures were taken
	LastDay   time.Time   // no review after it
	Log       *logcsv.Log
}

// Look is a day between reviews on which the coach asks all the same.
type Look struct {
	Day time.Time
	Why string
}

// file is how a scenario is written. Trainee and plan are those of the API.
type file struct {
	About   string          `json:"about"`
	Trainee json.RawMessage `json:"trainee"`
	PlanID  string          `json:"plan_id"`
	Plan    json.RawMessage `json:"plan"`
	Looks   []struct {
		Date string `json:"date"`
		Why  string `json:"why"`
	} `json:"looks"`
	InFull   []string `json:"in_full"`
	Pictures []string `json:"pictures"`
	LastDate string   `json:"last_date"`
}

// Load reads every scenario of a folder: ID.json with the plan beside ID.csv
// with the log, in order of their ids.
func Load(dir fs.FS) ([]Scenario, error) {
	names, err := fs.Glob(dir, "*.json")
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	out := make([]Scenario, 0, len(names))
	for _, name := range names {
		sc, err := loadPlan(dir, name)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if err := sc.loadLog(dir); err != nil {
			return nil, fmt.Errorf("%s.csv: %w", sc.TraineeID, err)
		}
		out = append(out, sc)
	}
	return out, nil
}

func loadPlan(dir fs.FS, name string) (Scenario, error) {
	b, err := fs.ReadFile(dir, name)
	if err != nil {
		return Scenario{}, err
	}
	var f file
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return Scenario{}, err
	}
	sc := Scenario{
		TraineeID: strings.TrimSuffix(name, ".json"), About: f.About, PlanID: f.PlanID, InFull: f.InFull,
		Trainee: &steelyardv1.Trainee{}, Plan: &steelyardv1.Plan{},
	}
	var dates []error
	day := func(s string) time.Time {
		t, err := time.Parse(time.DateOnly, s)
		dates = append(dates, err)
		return t
	}
	sc.LastDay = day(f.LastDate)
	for _, l := range f.Looks {
		sc.Looks = append(sc.Looks, Look{Day: day(l.Date), Why: l.Why})
	}
	for _, p := range f.Pictures {
		sc.Pictures = append(sc.Pictures, day(p))
	}
	return sc, errors.Join(append(dates,
		protojson.Unmarshal(f.Trainee, sc.Trainee),
		protojson.Unmarshal(f.Plan, sc.Plan))...)
}

func (sc *Scenario) loadLog(dir fs.FS) error {
	f, err := dir.Open(sc.TraineeID + ".csv")
	if err != nil {
		return err
	}
	defer f.Close()
	if sc.Log, err = logcsv.Read(f, sc.TraineeID); err != nil {
		return err
	}
	if len(sc.Log.Refused) > 0 {
		return fmt.Errorf("%s", sc.Log.Refused[0])
	}
	return nil
}

// PlanName returns the plan's resource name.
func (sc Scenario) PlanName() string { return "trainees/" + sc.TraineeID + "/plans/" + sc.PlanID }
