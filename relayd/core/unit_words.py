"""What the shell says of the unit, its peers and its restarts: whole texts, or with {names}.

They stand here, so that whoever is told reads them in a language of their own. Knows nothing.
"""

CAUSES = {
    "power": "its power was cut, or its board was reset",
    "board": "the board's own watchdog reset it",
    "ended": "the program was ended, or ended without a word",
    "fault": "a fault of the program ended it",
    "thread": "a part of the program had died",
}
"""Why the unit began anew without anybody's will, as far as it can know."""
NOT_HEARD = "not heard for {time}"
NEVER_HEARD = "never heard since this unit began"
STOPPED = "it said that it stops"
BROKER_LOST = "its broker lost it"
ALARM_OPEN = "an alarm was open there"
LEFT = "{percent} percent left"
NOT_CHARGING = "not charging"
DEGREES = "{degrees} degrees Celsius"
LOW = "too low at this moment"
SLOWED = "too low at this moment, and the processor is slowed down"
FREE = "{size} MiB free"
READ_ONLY = "it can only be read"
NO_ANSWER = "no answer in time"
REFUSED = "refused with status {code}"
NOT_REACHED = "not reached"
ANOTHER_BOARD = "another board or machine than the one it was made on"
NOT_SET = "no time service has set it"
LAGGED = "{time} late at worst"
CANNOT_READ = "{what} cannot be read any more"

ASIDE = "damaged ({why}) and set aside as {file}, a fresh one was begun"
LOST_RECORDS = "its records are in that file alone"
LOST_PANELS = "lost: what was remembered of panels"
LOST_MESSAGES = "lost: messages that had not left, so alarms that nobody has answered are told anew"
LOST_COUNTER = "lost: the counter of ids"
LOST_TIME = "lost: the time of the last step"
LOST_ALL = "lost: all that was remembered"
LOST_SUBJECT = "lost: what was remembered of {what}"
LOST_MESSAGE = "lost: message {number} to {who}, so its alarm is told anew"
LOST_TOPICS = "lost: topics that a broker may still show ({count})"
SENT_AGAIN = "message {number} to {who} had lost its sends and goes again"
MENDED = (
    "rows that were not as they were written: {count}, written anew from memory, nothing is lost"
)
BAD_LINES = "old lines that are not as they were written: {count}, the first is number {number}"
BAD_MESSAGES = "old messages that are not as they were written: {count}"

HARMS = (
    *(ASIDE, LOST_RECORDS, LOST_PANELS, LOST_MESSAGES, LOST_COUNTER, LOST_TIME, LOST_ALL),
    *(LOST_SUBJECT, LOST_MESSAGE, LOST_TOPICS, SENT_AGAIN, MENDED, BAD_LINES, BAD_MESSAGES),
)
"""What was found of a damaged journal; parts of it are told apart by '; '."""
DETAILS = (
    *HARMS,
    *CAUSES.values(),
    *(NOT_HEARD, NEVER_HEARD, STOPPED, BROKER_LOST, ALARM_OPEN, LEFT, NOT_CHARGING, DEGREES),
    *(LOW, SLOWED, FREE, READ_ONLY, NO_ANSWER, REFUSED, NOT_REACHED, ANOTHER_BOARD),
    *(NOT_SET, LAGGED, CANNOT_READ),
)
