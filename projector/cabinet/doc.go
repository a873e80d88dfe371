// Package cabinet keeps what stands beside the record, in the same file as the
// record: people's names and addresses, where their browsers are reached,
// invitations, passkeys, web sessions and the passwords of probes. None of it is
// ever in an event, so that none of it is copied to whoever may read the record,
// and a name can be taken out.
//
// What lets a bearer in is never kept: of a code, a token and a password only a
// hash is. All three are random and long (128 bits and more), so a plain
// SHA-256 is enough: there is no list of likely ones to try. The hub's own key for
// push messages is kept as it is; it lets nobody in.
//
// A call that returned nil is on the disk. After an error of the store a change
// may have been made or not. Every call is one transaction, safe for any number
// of goroutines, and waits for the transaction of the record that is being
// written; none may be made from inside another transaction of the same file,
// nor may the function given to Redeem be, which runs outside of any.
//
// Each value carries its version and a checksum over key and value: what is
// damaged is ErrDamaged, never somebody else's name or right.
package cabinet
