// Command buf-plugin-aip is a local buf check plugin. It adds the rules of the
// API Improvement Proposals (aip.dev) that buf's STANDARD lacks, and two of our
// own. It runs offline.
package main

import (
	"context"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/bufplugin/check"
	"buf.build/go/bufplugin/check/checkutil"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

func main() {
	check.Main(&check.Spec{Rules: []*check.RuleSpec{
		fieldRule("AIP_0203_FIELD_BEHAVIOR", "Every field carries google.api.field_behavior.", fieldBehavior),
		fieldRule("AIP_0142_TIME_NAMES", "Timestamps end in _time, google.type.Date in date.", timeNames),
		fieldRule("STEELYARD_FINITE", "Every double that a caller may set is validated as finite.", finite),
		fieldRule("STEELYARD_NO_INT64", "No 64-bit or unsigned integers: protobuf JSON writes them as strings.", noInt64),
		methodRule("AIP_0158_PAGINATION", "List methods are paginated.", pagination),
		methodRule("AIP_0127_HTTP", "Every method has a google.api.http binding.", httpBinding),
		methodRule("AIP_0155_REQUEST_ID", "Every unary method that is not a GET takes a request_id.", requestID),
	}})
}

// rule is a check of one descriptor: it returns what is wrong, or "".
type rule[D protoreflect.Descriptor] func(D) string

func fieldRule(id, purpose string, r rule[protoreflect.FieldDescriptor]) *check.RuleSpec {
	return &check.RuleSpec{ID: id, Default: true, Purpose: purpose, Type: check.RuleTypeLint,
		Handler: checkutil.NewFieldRuleHandler(handle(r), checkutil.WithoutImports())}
}

func methodRule(id, purpose string, r rule[protoreflect.MethodDescriptor]) *check.RuleSpec {
	return &check.RuleSpec{ID: id, Default: true, Purpose: purpose, Type: check.RuleTypeLint,
		Handler: checkutil.NewMethodRuleHandler(handle(r), checkutil.WithoutImports())}
}

func handle[D protoreflect.Descriptor](r rule[D]) func(context.Context, check.ResponseWriter, check.Request, D) error {
	return func(_ context.Context, w check.ResponseWriter, _ check.Request, d D) error {
		if problem := r(d); problem != "" {
			w.AddAnnotation(check.WithDescriptor(d), check.WithMessagef("%s: %s", d.FullName(), problem))
		}
		return nil
	}
}

func behaviors(f protoreflect.FieldDescriptor) []annotations.FieldBehavior {
	b, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return b
}

func isExtensionOrMapEntry(f protoreflect.FieldDescriptor) bool {
	m, ok := f.Parent().(protoreflect.MessageDescriptor)
	return !ok || m.IsMapEntry() || f.IsExtension()
}

func fieldBehavior(f protoreflect.FieldDescriptor) string {
	if isExtensionOrMapEntry(f) || len(behaviors(f)) > 0 {
		return ""
	}
	return "needs google.api.field_behavior"
}

func timeNames(f protoreflect.FieldDescriptor) string {
	if f.Message() == nil || f.IsMap() {
		return ""
	}
	name := string(f.Name())
	switch f.Message().FullName() {
	case "google.protobuf.Timestamp":
		if !strings.HasSuffix(name, "_time") {
			return "a timestamp's name must end in _time"
		}
	case "google.type.Date":
		if name != "date" && !strings.HasSuffix(name, "_date") {
			return "a civil date's name must end in _date"
		}
	}
	return ""
}

func finite(f protoreflect.FieldDescriptor) string {
	if f.Kind() != protoreflect.DoubleKind && f.Kind() != protoreflect.FloatKind {
		return ""
	}
	for _, b := range behaviors(f) {
		if b == annotations.FieldBehavior_OUTPUT_ONLY {
			return ""
		}
	}
	rules, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
	if rules.GetDouble().GetFinite() || rules.GetFloat().GetFinite() {
		return ""
	}
	return "needs (buf.validate.field).double.finite, since protobuf JSON accepts \"NaN\""
}

func noInt64(f protoreflect.FieldDescriptor) string {
	switch f.Kind() {
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind,
		protoreflect.Uint64Kind, protoreflect.Fixed64Kind, protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return "use int32 or double"
	}
	return ""
}

func pagination(m protoreflect.MethodDescriptor) string {
	if !strings.HasPrefix(string(m.Name()), "List") {
		return ""
	}
	in, out := m.Input().Fields(), m.Output().Fields()
	if in.ByName("page_size") == nil || in.ByName("page_token") == nil || out.ByName("next_page_token") == nil {
		return "needs page_size, page_token and next_page_token"
	}
	return ""
}

func http(m protoreflect.MethodDescriptor) *annotations.HttpRule {
	if !proto.HasExtension(m.Options(), annotations.E_Http) {
		return nil
	}
	r, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	return r
}

func httpBinding(m protoreflect.MethodDescriptor) string {
	if http(m) == nil {
		return "needs a google.api.http binding"
	}
	return ""
}

func requestID(m protoreflect.MethodDescriptor) string {
	r := http(m)
	if r == nil || r.GetGet() != "" || m.IsStreamingClient() || m.Input().Fields().ByName("request_id") != nil {
		return ""
	}
	return "writes and needs a request_id"
}
