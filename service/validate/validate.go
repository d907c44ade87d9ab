// Package validate checks a message against the rules that the contract
// declares on its fields.
package validate

import (
	"errors"
	"fmt"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/fault"
)

// Message returns a *fault.Invalid that names every field which breaks a rule,
// or nil.
func Message(m proto.Message) error {
	if surely(m) {
		return nil
	}
	err := protovalidate.Validate(m)
	if err == nil {
		return nil
	}
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		return fmt.Errorf("validate %s: %w", m.ProtoReflect().Descriptor().FullName(), err)
	}
	out := &fault.Invalid{}
	for _, v := range broken.Violations {
		path := protovalidate.FieldPathString(v.Proto.GetField())
		if path == "" {
			path = string(m.ProtoReflect().Descriptor().Name())
		}
		out.Fields = append(out.Fields, fault.Field{Path: path, Problem: v.Proto.GetMessage()})
	}
	return out
}
