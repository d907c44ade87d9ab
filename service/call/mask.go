package call

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"example.com/steelyard/service/fault"
)

// Merge copies the fields that the mask names from src into dst, a message of
// the same type. A path into a message field means the whole field, since our
// message fields (dates) are values. Fields that only the service writes are
// passed over, so that a caller may send back what it has read. Without a mask
// the fields that are set in src are meant; "*" means all.
func Merge(dst, src proto.Message, mask *fieldmaskpb.FieldMask) error {
	d, s := dst.ProtoReflect(), src.ProtoReflect()
	fields := d.Descriptor().Fields()
	paths := mask.GetPaths()
	all := slices.Contains(paths, "*")
	named := make(map[protoreflect.Name]bool, len(paths))
	for i, path := range paths {
		name, _, _ := strings.Cut(path, ".")
		f := fields.ByName(protoreflect.Name(name))
		if f == nil {
			f = fields.ByJSONName(name) // in a query the mask keeps JSON's spelling
		}
		if f == nil && path != "*" {
			return fault.InvalidField(fmt.Sprintf("update_mask.paths[%d]", i), "%q is not a field of %s", name, d.Descriptor().Name())
		}
		if f != nil {
			named[f.Name()] = true
		}
	}
	for i := range fields.Len() {
		f := fields.Get(i)
		meant := all || named[f.Name()] || (len(paths) == 0 && s.Has(f))
		switch {
		case !meant || isServiceOnly(f):
		case s.Has(f):
			d.Set(f, s.Get(f))
		default:
			d.Clear(f)
		}
	}
	return nil
}

// isServiceOnly reports whether only the service writes a field.
func isServiceOnly(f protoreflect.FieldDescriptor) bool {
	b, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(b, annotations.FieldBehavior_OUTPUT_ONLY) || slices.Contains(b, annotations.FieldBehavior_IDENTIFIER)
}
