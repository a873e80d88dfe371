// Package notify tells people of alerts. It reads the words of an alert's life
// from the stream, asks the desk who is to be told what and when, keeps that in a
// ledger, and hands the messages to the channels.
//
// Order and silence: it reads the stream in order, from a sequence of its own
// that it keeps in the ledger, in one transaction with what follows from the
// words. What was recorded before it was first switched on is never told, and
// neither a rebuilt record nor a replayed stream moves its place: a replay tells
// nothing. While it catches up nothing is sent, so that what is over by then is
// not told; what is urgent waits two minutes at most, everything else ten. Messages to one person by one channel are sent one at a time, in
// order; nobody waits for another's channel.
//
// Durability: a message is on the disk as being sent before a channel has it, and
// its outcome after. A stop between the two has it sent again under the same id,
// by which a channel or a reader knows it: at least once, seen once. What fails
// to be written is written again before anything more is sent, but for what is
// urgent: after ten seconds it is sent all the same. A damaged case is made anew from
// the stream.
//
// Trust: of the hub's words only those count that bear its signature; of
// people's only those that the record has taken in. One that is voided counts no
// more from the moment the void is known: who takes an acknowledgement back has the
// climb begin anew.
//
// The stream need not be there: what the ledger holds is told, and what is handed
// to Direct.
//
// Concurrency: one goroutine owns the desk and writes the ledger; reader, channels,
// voice and teller work beside it. All methods are safe for concurrent use but
// Run, which is called once, and Close, which follows it.
package notify
