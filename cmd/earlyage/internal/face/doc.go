// Package face writes what the record and the scheduler said: the JSON of an
// assessment, tables and sheets for people.
//
// A face computes nothing. It rounds for people, always to the safe side: a
// time to strip up to the next minute, minutes left down. Every text that
// shows a time to strip ends with the caution. Equal input gives equal bytes.
package face
