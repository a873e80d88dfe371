package notify

// NoticeOf is what an event says.
var NoticeOf = noticeOf
