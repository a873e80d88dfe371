// Package projector keeps two files level with the stream: keep.db, the bytes
// as they were received, and view.db, the folded state of every site and wall.
//
// Order: messages are folded in the order of the stream's sequence, by one
// goroutine. A wall's state is a function of the set of its events; the verdict
// on a message (accepted, repeated, refused) is a function of the messages
// before it, so that a rebuild gives the same bytes however the stream was cut
// into transactions.
//
// Identity: unless the store was made unsigned, what counts is proven and
// allowed: signed by the key of an enrolled device that holds, in the name of its
// person, who has a role for it, all as of the message before (see package
// people); or come on the subject that one probe alone can publish on; or signed
// by the hub. What is not proven holds no number of a device and claims no key,
// so that a stranger cannot shut the real message out; but it is refused, and so
// a doubt on the wall that it names. What was kept before a store knew persons
// is judged as it was then.
//
// Durability: keep.db is committed first and is idempotent by sequence; then
// states and last sequence go into view.db in one transaction; then receipts
// are published and subscribers told. After a crash at any point the next Open
// folds what was kept and not yet folded, and reads on after it. keep.db is not
// disposable; view.db is, and is rebuilt from keep.db or from the stream.
//
// Safety: no message stops the projector. What is not acceptable stays in
// keep.db, is listed as refused and is a doubt on the wall that it names. A
// repeated message changes nothing; the same key with other bytes is refused. A
// hole in the stream's sequence is recorded until a named keeper accepts it. A
// stream that is shorter than the store, or that holds another message at the
// last kept sequence, stops folding and publishing, not reading. A full disk
// ends Run with an error that wraps ErrGiveUp.
//
// Silence: nothing is published while catching up. Changes and receipts are
// sent once the head of the stream is reached.
//
// Concurrency: all methods of Projector may be called from any goroutine.
package projector
