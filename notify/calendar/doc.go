// Package calendar writes calendar feeds (RFC 5545): when the bracing of each
// wall may come off, as far as that is known.
//
// It is pure, and safe for concurrent use; equal input gives equal bytes. What
// the properties of a feed mean:
//
//	METHOD            PUBLISH: the feed is read, nobody answers it.
//	X-WR-CALNAME      the name of the feed; NAME says the same (RFC 7986).
//	REFRESH-INTERVAL  how often to ask again: a quarter of an hour (RFC 7986).
//	X-WR-TIMEZONE     the site's zone, for display; every instant is in UTC.
//
// and of an event, one for each wall:
//
//	UID            wall@site.earlyage: the same for as long as the wall is known,
//	               in every feed, so that a time which moves moves the event.
//	               What is no token is hashed.
//	SEQUENCE       the number in the stream of what it comes from. It only grows.
//	DTSTAMP        when that was said; LAST-MODIFIED is the same.
//	DTSTART        when the bracing may come off, rounded up to the minute: the
//	               time that is expected, or since when the window is open.
//	DURATION       an hour: something to see, and no length of the work.
//	STATUS         TENTATIVE: expected. CONFIRMED: open. CANCELLED: the bracing is
//	               off, or there is no time to give any more; seven days long.
//	TRANSP         TRANSPARENT: nobody is busy by it.
//	SUMMARY        the wall and how it stands.
//	LOCATION       the site.
//	DESCRIPTION    what governs, and the caution.
//
// There is no alarm in a feed: who has to be told in time is told otherwise.
package calendar
