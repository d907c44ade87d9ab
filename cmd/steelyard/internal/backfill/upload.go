// Package backfill sends a log to a Steelyard over its backfill stream, and
// carries on where it stopped after any break: of the connection, of the server,
// or of this program.
package backfill

import (
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Upload is one trainee's entries out of one content.
type Upload struct {
	Trainee string
	SHA256  string // of the whole content, in hex
	Entries []*steelyardv1.Entry
}

// space holds the ids of uploads. The word at its end names how content becomes
// batches: after a change there an old upload must not be continued.
var space = uuid.NewSHA1(uuid.NameSpaceURL, []byte("https://steelyard.example.com/uploads/batches-1"))

// ID returns the upload's id: the same for the same content and trainee, so that
// the same command, run again, continues.
func (u Upload) ID() string {
	return uuid.NewSHA1(space, []byte(u.SHA256+"/"+u.Trainee)).String()
}

const (
	maxBatchEntries = 500
	// maxBatchBytes keeps batches of long notes under the server's default limit
	// of 1 MiB a message.
	maxBatchBytes = 512 << 10
)

// batch is a run of an upload's entries.
type batch struct{ first, end int }

// batches cuts an upload. The cut depends on the entries alone: a continued
// upload must meet the batches it was begun with.
func (u Upload) batches() []batch {
	var out []batch
	first, size := 0, 0
	for i, e := range u.Entries {
		n := proto.Size(e) + 8 // tag and length, rounded up
		if i > first && (i-first == maxBatchEntries || size+n > maxBatchBytes) {
			out = append(out, batch{first, i})
			first, size = i, 0
		}
		size += n
	}
	if first < len(u.Entries) {
		out = append(out, batch{first, len(u.Entries)})
	}
	return out
}

// Result is what became of an upload.
type Result struct {
	Sent         int // entries that this run sent and the server acknowledged, refused ones included
	AlreadyThere int // entries that an earlier run had brought there
	Applied      int // entries that the server holds of this upload, by its own count
	Refused      []Refusal
	Breaks       int // streams that broke and were continued
}

// Untold returns how many entries of a finished upload the server refused in
// batches whose answer this run never saw.
func (r Result) Untold() int { return r.Sent + r.AlreadyThere - r.Applied - len(r.Refused) }

// Refusal is an entry that the server did not take.
type Refusal struct {
	Index   int // into Upload.Entries
	Field   string
	Problem string
}
