// Package roster changes who may do what, and admits who connects.
//
// Every change is an event that the hub itself says; the names, codes and
// passwords that go with it stand beside the record, in the cabinet. One change
// is made at a time: a change is judged by the register that holds all changes
// before it, so two people at once cannot take one device name, enrol one key
// twice or retire the last two keepers. Admit waits for none of that.
//
// Who may: a keeper changes people, roles and devices; an officer, a dispatcher
// and a foreman invite people whom a keeper has added; everybody revokes the
// own devices. An invitation is as good as the person's own hand, so nobody
// hands out one that carries more than the own roles: see Invite. A keeper is
// appointed for the hub, on site "_", and for no site alone.
//
// An empty by is the hub's own machine: whoever may open its socket or its files
// may do all of this. Only the last keeper cannot be retired even so.
//
// What lets a bearer in (codes, links, passwords, proofs) is returned once and
// is in no error, log line or event. The types that hold it hide it when they
// are printed.
package roster
