package convert_test

import (
	"errors"
	"go/ast"
	"go/constant"
	"go/parser"
	"go/token"
	"go/types"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// pair says how an enum of the contract and one of the engine become each other.
type pair struct {
	enum   protoreflect.EnumDescriptor
	folder string // of the engine, below it
	typ    string
	prefix string // of the engine's constants
	// rename are the engine's words that the contract spells out.
	rename map[string]string
	// zero is the engine's name of the contract's unspecified value, when it has one.
	zero string
	to   func(engine int64) protoreflect.EnumNumber // nil when the engine never gives it
	from func(n protoreflect.EnumNumber) int64      // nil when callers never send it
}

var day0 = &date.Date{Year: 2026, Month: 3, Day: 1}

// fact converts an entry with a fact of the contract.
func fact(e *pb.Entry) engine.Fact {
	e.Date = day0
	out, err := convert.EntryFromProto(e, lastDay)
	if err != nil {
		panic(err)
	}
	return out.Fact
}

func entry(f engine.Fact) *pb.Entry {
	return convert.EntryToProto("t1", engine.Entry{Day: lastDay, Key: "1", Fact: f})
}

func profile(t *pb.Trainee) engine.Profile {
	out, err := convert.TraineeFromProto(t, "t1", now)
	if err != nil {
		panic(err)
	}
	return out.Profile
}

func trainee(p engine.Profile) *pb.Trainee {
	return convert.TraineeToProto(store.Trainee{Profile: p}, head)
}

func plan(p *pb.Plan) engine.Plan {
	p.StartDate = day0
	out, err := convert.PlanFromProto(p, "cut")
	if err != nil {
		panic(err)
	}
	return out
}

func planProto(p engine.Plan) *pb.Plan {
	return convert.PlanToProto("t1", store.Plan{Plan: p}, head, lastDay)
}

func recommendation(r phase.Recommendation) *pb.Recommendation {
	return convert.RecommendationToProto(planName, r)
}

var pairs = []pair{
	{
		enum: pb.EntryKind(0).Descriptor(), typ: "Kind", prefix: "Kind", zero: "KindUnspecified",
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(convert.KindsFromProto([]pb.EntryKind{pb.EntryKind(n)})[0])
		},
	},
	{
		enum: pb.MassUnit(0).Descriptor(), typ: "MassUnit", zero: "MassUnitUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return entry(engine.WeighIn{Weight: engine.Mass{Unit: engine.MassUnit(v)}}).GetWeighIn().GetWeight().GetUnit().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(fact(&pb.Entry{Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: 50, Unit: pb.MassUnit(n)}}}}).(engine.WeighIn).Weight.Unit)
		},
	},
	{
		enum: pb.EnergyUnit(0).Descriptor(), typ: "EnergyUnit", zero: "EnergyUnitUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return entry(engine.Intake{Energy: engine.Energy{Unit: engine.EnergyUnit(v)}}).GetIntake().GetEnergy().GetUnit().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(fact(&pb.Entry{Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: &pb.Energy{Value: 50, Unit: pb.EnergyUnit(n)}}}}).(engine.Intake).Energy.Unit)
		},
	},
	{
		enum: pb.BodyFatMethod(0).Descriptor(), typ: "BodyFatMethod", prefix: "BodyFat", zero: "BodyFatMethodUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return entry(engine.BodyFat{Method: engine.BodyFatMethod(v)}).GetBodyFat().GetMethod().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(fact(&pb.Entry{Fact: &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{Method: pb.BodyFatMethod(n)}}}).(engine.BodyFat).Method)
		},
	},
	{
		enum: pb.MarkKind(0).Descriptor(), typ: "MarkKind", prefix: "Mark", zero: "MarkUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return entry(engine.Mark{Of: engine.MarkKind(v)}).GetMark().GetOf().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(fact(&pb.Entry{Fact: &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind(n)}}}).(engine.Mark).Of)
		},
	},
	{
		enum: pb.Sex(0).Descriptor(), typ: "Sex", zero: "SexUnknown",
		to: func(v int64) protoreflect.EnumNumber {
			return trainee(engine.Profile{Sex: engine.Sex(v)}).GetSex().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 { return int64(profile(&pb.Trainee{Sex: pb.Sex(n)}).Sex) },
	},
	{
		enum: pb.ActivityLevel(0).Descriptor(), typ: "ActivityLevel", zero: "ActivityUnknown",
		to: func(v int64) protoreflect.EnumNumber {
			return trainee(engine.Profile{Activity: engine.ActivityLevel(v)}).GetActivityLevel().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(profile(&pb.Trainee{ActivityLevel: pb.ActivityLevel(n)}).Activity)
		},
	},
	{
		enum: pb.HealthCondition(0).Descriptor(), typ: "Condition",
		to: func(v int64) protoreflect.EnumNumber {
			got := trainee(engine.Profile{Conditions: engine.Condition(v)}).GetConditions()
			if len(got) != 1 {
				return -1
			}
			return got[0].Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(profile(&pb.Trainee{Conditions: []pb.HealthCondition{pb.HealthCondition(n)}}).Conditions)
		},
	},
	{
		enum: pb.PlanState(0).Descriptor(), typ: "PlanState", prefix: "Plan",
		to: func(v int64) protoreflect.EnumNumber {
			return planProto(engine.Plan{State: engine.PlanState(v)}).GetState().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 { return int64(plan(&pb.Plan{State: pb.PlanState(n)}).State) },
	},
	{
		enum: pb.ReviewMethod(0).Descriptor(), typ: "Method",
		to: func(v int64) protoreflect.EnumNumber {
			return planProto(engine.Plan{Method: engine.Method(v)}).GetMethod().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 { return int64(plan(&pb.Plan{Method: pb.ReviewMethod(n)}).Method) },
	},
	{
		enum: pb.Action(0).Descriptor(), typ: "Action", zero: "ActionUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return recommendation(phase.Recommendation{Action: engine.Action(v)}).GetAction().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			d, err := convert.DecisionFromProto(&pb.Decision{FromDate: day0, Action: pb.Action(n)}, "d1")
			if err != nil {
				panic(err)
			}
			return int64(d.Action)
		},
	},
	{
		enum: pb.Stage(0).Descriptor(), folder: "phase", typ: "Stage", zero: "StageUnspecified",
		rename: map[string]string{"RETURNING": "RETURN_TO_MAINTENANCE"},
		to: func(v int64) protoreflect.EnumNumber {
			return recommendation(phase.Recommendation{Stage: phase.Stage(v)}).GetStage().Number()
		},
	},
	{
		enum: pb.Lever(0).Descriptor(), folder: "phase", typ: "LeverKind", prefix: "Lever", zero: "LeverUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return recommendation(phase.Recommendation{Options: []phase.LeverOption{{Kind: phase.LeverKind(v)}}}).GetOptions()[0].GetLever().Number()
		},
	},
	{
		enum: pb.Severity(0).Descriptor(), folder: "phase", typ: "Severity", zero: "SeverityUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return recommendation(phase.Recommendation{Findings: []phase.Finding{{Severity: phase.Severity(v)}}}).GetFindings()[0].GetSeverity().Number()
		},
	},
	{
		enum: pb.TimelineEventKind(0).Descriptor(), folder: "phase", typ: "EventKind", prefix: "Event", zero: "EventUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return convert.TimelineToProto(planName, phase.Story{Events: []phase.Event{{Kind: phase.EventKind(v)}}}).GetEvents()[0].GetKind().Number()
		},
	},
	{
		enum: pb.ForecastPace(0).Descriptor(), folder: "phase", typ: "Pace", zero: "PaceUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return convert.ForecastToProto(phase.Outlooks{Outlooks: []phase.Outlook{{Pace: phase.Pace(v)}}}, 0).GetOutlooks()[0].GetPace().Number()
		},
	},
	{
		enum: pb.DueReason(0).Descriptor(), folder: "phase", typ: "DueReason", prefix: "Due", zero: "DueUnspecified",
		to: func(v int64) protoreflect.EnumNumber {
			return convert.DueReviewToProto(store.DueTalk{Due: phase.Due{Reason: phase.DueReason(v)}}).GetReason().Number()
		},
		from: func(n protoreflect.EnumNumber) int64 {
			return int64(convert.DueReasonsFromProto([]pb.DueReason{pb.DueReason(n)})[0])
		},
	},
}

// withoutPartner are the enums of the contract that are no value of the engine.
var withoutPartner = map[protoreflect.FullName]string{
	"steelyard.v1.Scope":        "what a key may do; access has its own test",
	"steelyard.v1.WindowSource": "where a window came from; TestOriginToProto",
}

// TestEnums_ArePairedByName: each value of each enum of the contract has a
// partner of its name in the engine, and the other way round, and the
// conversion takes the one to the other. A value that is added on one side only
// fails here.
func TestEnums_ArePairedByName(t *testing.T) {
	seen := map[protoreflect.FullName]bool{}
	for _, p := range pairs {
		seen[p.enum.FullName()] = true
		t.Run(string(p.enum.Name()), func(t *testing.T) {
			ours := constants(t, p.folder, p.typ)
			if len(ours) < 2 {
				t.Fatalf("found %d constants of %s", len(ours), p.typ)
			}
			byWord := map[string]int64{} // the engine's constants by the contract's word
			for name, v := range ours {
				if name == p.zero {
					if v != 0 {
						t.Errorf("%s is %d", name, v)
					}
					continue
				}
				word := upperSnake(strings.TrimPrefix(name, p.prefix))
				if spelled, ok := p.rename[word]; ok {
					word = spelled
				}
				byWord[word] = v
			}
			theirs := map[string]protoreflect.EnumNumber{}
			prefix := upperSnake(string(p.enum.Name())) + "_"
			for i := range p.enum.Values().Len() {
				v := p.enum.Values().Get(i)
				word := strings.TrimPrefix(string(v.Name()), prefix)
				if v.Number() == 0 {
					if word != "UNSPECIFIED" {
						t.Errorf("0 is %s", v.Name())
					}
					continue
				}
				theirs[word] = v.Number()
				ourValue, ok := byWord[word]
				switch {
				case !ok:
					t.Errorf("%s has no partner in the engine", v.Name())
				case p.to != nil && p.to(ourValue) != v.Number():
					t.Errorf("the engine's %d becomes %d, want %s", ourValue, p.to(ourValue), v.Name())
				}
				if ok && p.from != nil && p.from(v.Number()) != ourValue {
					t.Errorf("%s becomes the engine's %d, want %d", v.Name(), p.from(v.Number()), ourValue)
				}
			}
			for word := range byWord {
				if _, ok := theirs[word]; !ok {
					t.Errorf("the engine's %s has no partner in %s", word, p.enum.FullName())
				}
			}
		})
	}
	for _, file := range files() {
		for i := range file.Enums().Len() {
			name := file.Enums().Get(i).FullName()
			if _, exempt := withoutPartner[name]; exempt == seen[name] {
				t.Errorf("%s is paired: %v, exempt: %v", name, seen[name], exempt)
			}
		}
	}
}

// TestStagesAndActions_AreDistinct: no two of the engine's read the same.
func TestStagesAndActions_AreDistinct(t *testing.T) {
	for _, p := range pairs {
		if p.to == nil {
			continue
		}
		by := map[protoreflect.EnumNumber]string{}
		ours := constants(t, p.folder, p.typ)
		for _, name := range slices.Sorted(maps.Keys(ours)) {
			if name == p.zero {
				continue
			}
			n := p.to(ours[name])
			if n <= 0 {
				t.Errorf("%s becomes %d", name, n)
			}
			if other, taken := by[n]; taken {
				t.Errorf("%s and %s both become %d", other, name, n)
			}
			by[n] = name
		}
	}
}

// TestUnspecified_TakesTheDefault: what a caller leaves out.
func TestUnspecified_TakesTheDefault(t *testing.T) {
	if p := plan(&pb.Plan{}); p.State != engine.PlanOpen || p.Method != engine.Posterior {
		t.Errorf("plan %+v", p)
	}
	if p := profile(&pb.Trainee{}); p.Sex != engine.SexUnknown || p.Activity != engine.ActivityUnknown || p.Conditions != 0 {
		t.Errorf("profile %+v", p)
	}
}

// constants returns the constants of a type in a folder of the engine by name,
// read from its source: Go keeps no names at run time.
func constants(t *testing.T, folder, typ string) map[string]int64 {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("..", "..", "engine", folder, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	set := token.NewFileSet()
	var parsed []*ast.File
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		parsed = append(parsed, f)
	}
	// Imports are not followed: the constants do without.
	conf := types.Config{Error: func(error) {}, Importer: noImports{}, IgnoreFuncBodies: true}
	pkg, _ := conf.Check("engine", set, parsed, nil)
	out := map[string]int64{}
	for _, name := range pkg.Scope().Names() {
		c, ok := pkg.Scope().Lookup(name).(*types.Const)
		if !ok {
			continue
		}
		if named, ok := c.Type().(*types.Named); ok && named.Obj().Name() == typ && c.Exported() {
			v, exact := constant.Int64Val(c.Val())
			if !exact {
				t.Fatalf("%s is %v", name, c.Val())
			}
			out[name] = v
		}
	}
	return out
}

type noImports struct{}

func (noImports) Import(string) (*types.Package, error) { return nil, errors.New("not followed") }

// files are the contract's files.
func files() []protoreflect.FileDescriptor {
	return []protoreflect.FileDescriptor{
		pb.File_steelyard_v1_access_proto, pb.File_steelyard_v1_entry_proto, pb.File_steelyard_v1_logbook_service_proto,
		pb.File_steelyard_v1_phase_service_proto, pb.File_steelyard_v1_plan_proto, pb.File_steelyard_v1_recommendation_proto,
		pb.File_steelyard_v1_trainee_proto, pb.File_steelyard_v1_trainee_service_proto, pb.File_steelyard_v1_trend_service_proto,
	}
}

// upperSnake spells SaltyMeal as SALTY_MEAL and DXA as DXA.
func upperSnake(camel string) string {
	var out strings.Builder
	runes := []rune(camel)
	for i, r := range runes {
		if i > 0 && unicode.IsUpper(r) && (!unicode.IsUpper(runes[i-1]) || (i+1 < len(runes) && unicode.IsLower(runes[i+1]))) {
			out.WriteByte('_')
		}
		out.WriteRune(unicode.ToUpper(r))
	}
	return out.String()
}
