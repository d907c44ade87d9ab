package gateway

import (
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
)

// queryParser refuses parameters that the request does not have, which the
// default parser passes over in silence, and reads a date also in its ISO form:
// asOfDate=2026-03-01 beside asOfDate.year=2026&asOfDate.month=3&asOfDate.day=1.
type queryParser struct{ runtime.DefaultQueryParser }

// Parse implements runtime.QueryParameterParser.
func (p queryParser) Parse(target proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	expanded := make(url.Values, len(values))
	for _, name := range slices.Sorted(maps.Keys(values)) { // sorted: the same request hears the same error
		v, path := values[name], strings.Split(name, ".")
		f := field(target.ProtoReflect().Descriptor(), path)
		if f == nil || filter.HasCommonPrefix(path) {
			return refused(name, "is not a query parameter of this request")
		}
		if len(v) > 1 && !f.IsList() {
			return refused(name, "is given more than once")
		}
		if f.Message() == nil || f.Message().FullName() != "google.type.Date" {
			expanded[name] = v
			continue
		}
		day, err := engine.ParseDay(v[0])
		if err != nil {
			return refused(string(f.Name()), "must be a calendar date of the form 2026-03-01")
		}
		if len(values) == 1 && len(path) == 1 { // the commonest query: nothing else can have set the field
			target.ProtoReflect().Set(f, protoreflect.ValueOfMessage(convert.DayToProto(day).ProtoReflect()))
			return nil
		}
		y, m, d := day.Date()
		for part, n := range map[string]int{".year": y, ".month": m, ".day": d} {
			if _, twice := values[name+part]; twice {
				return refused(string(f.Name()), "is given both whole and in parts")
			}
			expanded[name+part] = []string{strconv.Itoa(n)}
		}
	}
	if err := p.DefaultQueryParser.Parse(target, expanded, filter); err != nil {
		return refused("(query)", "has a parameter that does not have the form of its field")
	}
	return nil
}

// refused says what is wrong with a parameter. The gateway keeps nothing of an
// error but its text; undecodable reads this form back.
func refused(name, problem string) error {
	return fmt.Errorf("query parameter %q %s", name, problem)
}

// field finds the field that a dotted name, in either spelling, leads to.
func field(m protoreflect.MessageDescriptor, path []string) protoreflect.FieldDescriptor {
	f := m.Fields().ByName(protoreflect.Name(path[0]))
	if f == nil {
		f = m.Fields().ByJSONName(path[0])
	}
	switch {
	case f == nil || len(path) == 1:
		return f
	case f.Message() == nil || f.IsList():
		return nil
	}
	return field(f.Message(), path[1:])
}
