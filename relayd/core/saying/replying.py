"""How a message is answered from afar: room for its code, and what a channel that takes replies says.

In: a notice, the channel that it goes over. Out: the body. The code itself is filled in by the
shell just before sending, into room of its very size, so that the core holds no secret.
"""

from relayd.core.plan import Plan
from relayd.core.saying import gsm7, language, short
from relayd.core.saying.language import marked
from relayd.core.saying.letter import NO_REPLY, NO_REPLY_SHORT
from relayd.core.state import Notice

CODE = "########"
"""Where the code goes."""
CODED = marked("Code {code}")
REPLY = marked(
    "Or reply to this message: on the first line one word, seen or taken (or taken 14:00),"
    " and leave the message below."
)
REPLY_SHORT = marked("Reply: {code} OK.")


def body(plan: Plan, notice: Notice, channel: str, ref: str) -> str:
    """What goes over that channel; a reply is asked for only where it reaches the mailbox."""
    in_short, answers = channel in plan.short_forms, channel in plan.answers
    say = language.of(plan, plan.people.get(notice.person))
    asked = notice.occurrence != 0 and CODE in notice.long
    if in_short:
        return _short(notice, say) if answers and asked else notice.short
    long = notice.long
    if answers and asked and long.endswith(say(NO_REPLY)):
        long = long.removesuffix(say(NO_REPLY)) + say(REPLY)
    return f"{long}\n\n{ref}"


def _short(notice: Notice, say: language.Speech) -> str:
    """With how to reply in place of how to answer on the unit, which is the longer one."""
    end = gsm7.spelled(short.answer(say, notice.person, asked=True))
    if not notice.short.endswith(end):
        end = gsm7.spelled(say(NO_REPLY_SHORT))
    how = say(REPLY_SHORT, code=CODE)
    told = notice.short.removesuffix(end).rstrip()
    return f"{gsm7.cut(told, gsm7.ONE_MESSAGE - gsm7.septets(gsm7.spelled(how)) - 1)} {how}"
