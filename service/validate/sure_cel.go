package validate

import (
	"fmt"
	"reflect"
	"sync"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/service/shape"
)

// language is that of the expressions.
var language = sync.OnceValues(func() (*cel.Env, error) { return cel.NewEnv() })

// expression compiles a rule's expression that puts together, by and, or and not,
// whether fields are set and how whole numbers compare with constants. this is the
// message of the fields, or a number when there are none.
func expression(source string, fields []shape.Field) (check, error) {
	env, err := language()
	if err != nil {
		return nil, err
	}
	parsed, issues := env.Parse(source)
	if err := issues.Err(); err != nil {
		return nil, err
	}
	out, err := term(parsed.NativeRep().Expr(), fields)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", source, err)
	}
	return out, nil
}

func term(e ast.Expr, fields []shape.Field) (check, error) {
	switch e.Kind() {
	case ast.SelectKind:
		f, err := selected(e.AsSelect(), fields)
		if err != nil || !e.AsSelect().IsTestOnly() {
			return nil, notKnown(err, "a field as the answer")
		}
		return func(m reflect.Value) bool { return has(f, m) }, nil
	case ast.CallKind:
		call := e.AsCall()
		if compare, ok := comparisons[call.FunctionName()]; ok {
			return comparison(call.Args()[0], call.Args()[1], compare, fields)
		}
		var of []check
		for _, arg := range call.Args() {
			c, err := term(arg, fields)
			if err != nil {
				return nil, err
			}
			of = append(of, c)
		}
		switch call.FunctionName() {
		case operators.LogicalNot:
			return func(v reflect.Value) bool { return !of[0](v) }, nil
		case operators.LogicalAnd:
			return func(v reflect.Value) bool { return of[0](v) && of[1](v) }, nil
		case operators.LogicalOr:
			return func(v reflect.Value) bool { return of[0](v) || of[1](v) }, nil
		}
	}
	return nil, notKnown(nil, "a part of the expression")
}

var comparisons = map[string]func(x, y int64) bool{
	operators.Equals:        func(x, y int64) bool { return x == y },
	operators.GreaterEquals: func(x, y int64) bool { return x >= y },
	operators.LessEquals:    func(x, y int64) bool { return x <= y },
}

// comparison compares this, or a field of it, with a constant.
func comparison(left, right ast.Expr, compare func(x, y int64) bool, fields []shape.Field) (check, error) {
	if right.Kind() != ast.LiteralKind {
		return nil, notKnown(nil, "a comparison with no constant")
	}
	y, ok := right.AsLiteral().Value().(int64)
	if !ok {
		return nil, notKnown(nil, "a constant that is no whole number")
	}
	if left.Kind() == ast.IdentKind && left.AsIdent() == "this" && fields == nil {
		return func(v reflect.Value) bool { return compare(v.Int(), y) }, nil
	}
	if left.Kind() != ast.SelectKind || left.AsSelect().IsTestOnly() {
		return nil, notKnown(nil, "a comparison of no field")
	}
	f, err := selected(left.AsSelect(), fields)
	if err != nil {
		return nil, err
	}
	if f.HasPresence() || f.IsList() || f.Kind() != protoreflect.Int32Kind && f.Kind() != protoreflect.EnumKind {
		return nil, notKnown(nil, "a comparison of "+string(f.Name()))
	}
	return func(m reflect.Value) bool { return compare(f.Value(m).Int(), y) }, nil
}

// selected finds the field that this.name means.
func selected(s ast.SelectExpr, fields []shape.Field) (shape.Field, error) {
	for _, f := range fields {
		if s.Operand().Kind() == ast.IdentKind && s.Operand().AsIdent() == "this" && s.FieldName() == string(f.Name()) {
			return f, nil
		}
	}
	return shape.Field{}, fmt.Errorf("%s is no field of this", s.FieldName())
}

func notKnown(err error, what string) error {
	if err != nil {
		return err
	}
	return fmt.Errorf("%s is not known here", what)
}
