// Package stream is the NATS side of the record: the embedded server and who may
// take part, the JetStream stream that holds every event, ordered reading,
// publishing with acknowledgement, receipts, and the outbox of a device.
//
// What is guaranteed:
//
//   - Order. Read delivers the messages of the stream in the order of its
//     sequence, each once, from one goroutine, over disconnects, restarts of the
//     server and lost consumers. A number that the stream does not have is
//     passed over in plain sight: the next message's Seq jumps.
//
//   - Durability. The server writes an event to the disk before it acknowledges
//     it. An acknowledgement is still no promise, since disks and files fail:
//     only a Receipt is one, and an Outbox keeps every event until a receipt
//     covers it, and for 30 days after it was sent.
//
//   - Once. An Outbox numbers its events; whatever fails and wherever it is
//     killed, every event that Add returned reaches the stream under its number,
//     and the readers of the stream know a number that they have seen.
//
//   - Trust. Seq and Recorded of a Message come from the consumer's own
//     metadata. Headers can be forged by any publisher and decide nothing, but
//     for the signature, which is verified over the exact body.
//
//   - Who. With a Guard nobody takes part without a name: a device proves its key
//     by the server's nonce, a probe its password, and each may publish and hear
//     what Permissions says and nothing else, whatever subject it has the answers
//     sent to. Disconnect ends a device at once. A Front encrypts and keeps one
//     device from crowding out the others.
//
// Stream, Server and Outbox are safe for concurrent use; an Outbox is safe for
// use by several processes at once.
package stream
