// Package postgres is the store on a PostgreSQL database, 15 or later: for several
// machines that serve one log.
//
// # Setting it up
//
// Two roles and a database, made once by whoever runs the server:
//
//	CREATE ROLE steelyard_owner LOGIN PASSWORD '…';
//	CREATE ROLE steelyard       LOGIN PASSWORD '…';
//	CREATE DATABASE steelyard OWNER steelyard_owner;
//
// and two variables, each of which may instead come from the file that the variable
// with _FILE names:
//
//	STEELYARD_STORE_URL=postgres://steelyard:…@db.example/steelyard
//	STEELYARD_STORE_OWNER_URL=postgres://steelyard_owner:…@db.example/steelyard
//
// A start with the owner's URL brings the schema, which is named steelyard, up to
// date in one transaction and gives the other role its rights; of several that start
// at once one does it. What serves afterwards uses the first URL alone, so the
// owner's may be given to one start after each update and kept from all others, which
// then refuse to start on a schema that is too old.
//
// The URLs take what libpq's do. For a primary that may move, name all hosts and
// add target_session_attrs=read-write. pool_max_conns is how many connections one
// program keeps, 16 unless there are more processors.
//
// # What it rests on
//
// Each connection is refused unless an acknowledged write is safe over it: fsync and
// full_page_writes on, synchronous_commit on (or remote_write, remote_apply), no
// standby. Ping asks again.
//
// Each is refused too when its role could see past the row policies: a superuser, one
// with BYPASSRLS, the owner or a member of it. Every table with a tenant has a policy
// that shows the rows of the tenant which the transaction has named, and none when it
// has named none. The statements ask for their tenant by themselves; the policies hold
// where one forgets to. Three narrow ones go past the tenant, and only to read: the one
// API key whose id was named, the ids of trainees whose due talks are to be derived
// anew, and for the sweep which tenants there are. No function runs with the rights of another than its caller.
//
// # How it works
//
// A write locks its trainee's row by the statement that raises the revision, and so
// waits for every other write on that trainee and for no other; READ COMMITTED then
// shows it all that was committed before. A read of several statements is one
// REPEATABLE READ transaction. Whatever does not depend on an answer is sent in one go,
// and what a write changes without asking goes with its commit: an entry takes three
// round trips, the lock, its day, and all the rest; a snapshot takes one. Each
// statement has one plan for all values, since the server would else plan some anew
// each time, which takes longer than to run them.
//
// COPY FROM refuses a role that row policies concern, so a batch is stored by
// INSERT over arrays, 500 rows at a time. It need not look for conflicts: the write has read the touched
// days, which their roll-ups need in any case, and holds the lock. The server then
// takes as long for 500 rows as for COPY of them, where ON CONFLICT takes half as long
// again. Entries that are there already are not written again. Days are rolled up of
// what was read and what is written, and 32 that follow each other are one row. Many
// entries are sent ahead of the rest of their transaction, without a wait of its own:
// the server stores them while others are encoded and their days are rolled up.
//
// Due talks are derived after the write, which only leaves its trainee in due_stale. A
// worker in each program derives them soon after, for many writes of a trainee at once
// and with the trainee's row locked, so that no write comes between; it leaves alone
// what a write or another program has locked. A list first derives what is stale of
// its tenant, and for that waits for a write under way, up to two seconds. What a
// program leaves that dies, the next list or any other program's worker does.
//
// Stored days say by which rules they were made. A start with the owner's URL makes
// them again when the engine has others, and a start without it refuses to serve; while
// such a start is at work, and when a migration writes tables anew, stop all others.
//
// The incarnation of a head begins with the server's timeline. When a standby takes
// over without the last writes, or a backup is restored to an earlier point, revisions
// come a second time with other content; the timeline tells them apart. A copy of the
// data that is brought up without recovery, by dump and restore say or as a base
// backup that is simply started, keeps its timeline: after one, run `steelyard
// restored`, which gives every trainee a new incarnation.
//
// An erased row leaves the pages at the next vacuum and the write-ahead log and the
// backups as they age; that is the server's to set.
package postgres
