"""Who is told, when, over what: call lists, hours, on-call schedules, notices, sends."""
