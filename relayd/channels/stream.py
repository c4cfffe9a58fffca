"""The event stream to one broker: every record in its order, each until the broker has taken it.

In: pages of records, receipts, whether a connection stands. Out: messages, a few in flight, and the
cursor: the number of the last record that the broker took, kept in the journal. Knows nothing of
paho, SQLite and trees; waits for the broker a moment at most, and for the disk never.

A number is passed over only with a `gap` in its place. What was in flight when a connection was
lost, or was refused, goes again under its number.
"""

from collections import deque
from collections.abc import Callable
from typing import Protocol

from relayd.channels import event
from relayd.channels.event import Origin, Why
from relayd.channels.pages import PAGE, Ahead, Page, Pages, Source
from relayd.clock import boottime
from relayd.core.plan import MINUTE, SECOND

IN_FLIGHT = 10
"""Events published and not yet taken by the broker (common practice, no source)."""
READ_AGAIN = 5 * SECOND
"""After the journal could not be read."""
READS_BEFORE_SAID = 12
SEND_AGAIN = MINUTE
"""After the broker refused a message: that is mended by hand, at the broker."""
WRITE_AFTER = 5 * SECOND
"""So long the cursor waits for something else that is written; it is worth no write of its own."""
REPLAY_AGAIN = MINUTE
"""Between two replays: each costs a broker up to ten thousand messages."""
MOMENT = 0.2
"""Seconds of waiting for the broker, after which the tree has its turn again."""


class Receipt(Protocol):
    """One message on its way."""

    def taken(self, wait: float) -> bool:
        """Whether its fate is known, after at most `wait` seconds."""

    def kept(self) -> bool:
        """Whether the broker acknowledged it and did not refuse it; asked once it is `taken`."""


Publish = Callable[[str, str], Receipt | None]
"""Sends payload to topic with QoS 1, not retained; None where no connection stands."""


class Stream:
    """The records on their way to one broker. All but `news` belongs to the teller's thread."""

    def __init__(
        self,
        unit: str,
        name: str,
        source: Source,
        fault: Callable[[str], None] = lambda why: None,
        clock: Callable[[], int] = boottime,
        pages: Ahead | None = None,
    ) -> None:
        """`name`: whose cursor it is. `fault` hears of a journal that stays unreadable."""
        self.wake: Callable[[], None] = lambda: None
        """Called from another thread when there is something to go on with."""
        self._origin, self._name, self._source = Origin(unit, source.epoch), name, source
        self._topic = event.topic(unit)
        self._fault, self._clock = fault, clock
        self._pages = pages or Pages(source, lambda: self.wake())
        self._cursor = self._kept()
        self._at = self._cursor or 0
        self._begun = self._cursor is not None
        self._waiting: deque[tuple[int, str]] = deque()
        self._flight: deque[tuple[int, Receipt]] = deque()
        self._news = True
        self._doubtful = False
        """Whether the last message was refused: then they go one by one until one is taken."""
        self._failed = 0
        self._not_before = self._read_not_before = 0
        self._wish: int | None = None
        self._replay_not_before = 0
        self._unwritten: int | None = None
        self._since_written = 0

    def news(self) -> None:
        """The journal may hold more than before; from any thread."""
        self._news = True

    def replay(self, first: int) -> str:
        """Send everything from number `first` on again; '' or why not. From any thread."""
        if self._clock() < self._replay_not_before:
            return "events were sent again a moment ago: ask again in a minute"
        self._replay_not_before = self._clock() + REPLAY_AGAIN
        self._wish = first
        self.wake()
        return ""

    def begin(self) -> None:
        """Another connection: what the last one did not acknowledge goes again."""
        self._settle()
        self._go_back()
        self._not_before = 0

    def step(self, publish: Publish, may: Callable[[], bool]) -> bool:
        """Go on a little, while `may()`; True where there is more to do at once."""
        self._settle()
        self._write()
        if self._clock() < self._not_before:
            return False
        self._wind_back()
        self._read()
        most = 1 if self._doubtful else IN_FLIGHT
        while self._waiting and len(self._flight) < most and may():
            n, payload = self._waiting[0]
            receipt = publish(self._topic, payload)
            if receipt is None:
                return False
            self._waiting.popleft()
            self._flight.append((n, receipt))
        if self._flight and may():
            self._flight[0][1].taken(MOMENT)
        return bool(self._flight or self._waiting)

    def stop(self) -> None:
        """Note what is known to have been taken, and end."""
        self._settle()
        self._pages.stop()

    # ---- the broker -----------------------------------------------------------------------

    def _settle(self) -> None:
        """Move the cursor over what the broker took; after a refusal go back to it and pause."""
        before = self._cursor
        while self._flight and self._flight[0][1].taken(0):
            n, receipt = self._flight.popleft()
            self._doubtful = not receipt.kept()
            if self._doubtful:
                self._go_back()
                self._not_before = self._clock() + SEND_AGAIN
                break
            self._cursor = n if self._cursor is None else max(n, self._cursor)
        if self._cursor != before:
            self._keep()

    def _go_back(self) -> None:
        self._flight.clear()
        self._waiting.clear()
        self._at, self._begun = self._cursor or 0, self._cursor is not None
        self._news = True

    def _wind_back(self) -> None:
        """Begin again where somebody asked for; the cursor stays, and a lost connection ends it."""
        wish, self._wish = self._wish, None
        last = self._cursor or 0
        if wish is None or wish > last:
            return
        self._go_back()
        self._at = wish - 1
        self._waiting.append((self._at, event.replay(self._origin, wish, last)))

    # ---- the journal ----------------------------------------------------------------------

    def _kept(self) -> int | None:
        """The kept cursor; None where there is none, or one of another journal."""
        epoch, _, number = self._source.cursor(self._name).partition(":")
        usable = epoch == self._source.epoch and number.isascii() and number.isdigit()
        return int(number) if usable else None

    def _keep(self) -> None:
        self._source.keep(self._name, f"{self._origin.epoch}:{self._cursor}")
        self._since_written += 1
        if self._unwritten is None:
            self._unwritten = self._clock()

    def _write(self) -> None:
        """Have the cursor written where it has waited long, or has come a page further."""
        if self._unwritten is None:
            return
        late = self._clock() - self._unwritten >= WRITE_AFTER
        if late or self._since_written >= PAGE:
            self._source.write(self._name)
            self._unwritten, self._since_written = None, 0

    def _read(self) -> None:
        """Take the page that was asked for, or ask for the next one when all has gone out."""
        page = self._pages.take()
        if page is not None:
            self._turn(page)
        ready = self._news and not self._waiting and not self._pages.reading
        if ready and self._clock() >= self._read_not_before:
            self._news = False
            self._pages.ask(self._at)

    def _turn(self, page: Page) -> None:
        if page.why:
            self._not_read(page.why)
        elif page.after != self._at:  # asked for another connection
            self._news = True
        else:
            self._failed = 0
            self._line_up(page)

    def _not_read(self, why: str) -> None:
        self._news = True
        self._read_not_before = self._clock() + READ_AGAIN
        self._failed += 1
        if self._failed == READS_BEFORE_SAID:
            self._fault(f"events cannot be sent, the journal is not read: {why}")

    def _line_up(self, page: Page) -> None:
        """Make the messages of a page, with a gap wherever numbers are passed over."""
        rows = page.rows
        numbers = [int(str(row["n"])) for row in rows]
        if not self._begun:
            self._begun = True
            self._pass_over(None, numbers[0] if numbers else page.first, Why.BEGINS)
        elif page.first > self._at + 1:
            self._pass_over(self._at + 1, page.first, Why.BEHIND)
        for n, row in zip(numbers, rows, strict=True):
            if n > self._at + 1:
                self._pass_over(self._at + 1, n, Why.NOT_KEPT)
            self._waiting.append((n, event.of_record(self._origin, row)))
            self._at = n
        self._news = self._news or bool(rows)

    def _pass_over(self, first: int | None, until: int, why: Why) -> None:
        """A gap from `first` to the number before `until`."""
        self._at = until - 1
        self._waiting.append((self._at, event.gap(self._origin, first, self._at, why)))
