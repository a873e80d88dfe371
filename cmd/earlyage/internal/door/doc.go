// Package door finds out who asks over HTTP, and lets in.
//
// A person comes in with a passkey, made once with an invitation; a device with
// its own key, over a nonce that counts once and for 60 seconds. There are no
// passwords. A fresh invitation is the way back for whoever lost a passkey, and
// can end all the earlier ones.
//
// What it guarantees:
//   - Every answer of a handler that went through [Door.Wrap] carries the
//     security headers, errors too.
//   - A session is a random token made at the login and never before it: what
//     a browser brought along counts for nothing and ends with the login. The
//     cookie is out of reach of scripts and of other sites.
//   - A request that changes something and comes from another site is refused,
//     whatever it asks for.
//   - At each request the register is asked again: a revoked device and a
//     person without any role are nobody from that moment on.
//   - Codes, tokens, nonces, signatures and cookies are in no log line and in
//     no address.
//
// What it keeps in memory (rates, nonces and challenges that were used) is
// bounded, and a restart forgets it: ceremonies that were under way begin
// again. All methods are safe for concurrent use.
package door
