"""Whether a way out works, said once per change.

In: what the adapter finds, from any of its threads. Out: ChannelUp and ChannelDown through `post`.
A definite reason (a refused login, another unit with this name) is said even while the way is
down, since somebody must mend it; a reason of the network is not said over another one.
"""

from threading import Lock

from relayd.contacts import Post
from relayd.core.events import ChannelDown, ChannelUp


class Standing:
    """The last judgement about one channel. Safe from any thread."""

    def __init__(self, channel: str, post: Post) -> None:
        self._channel, self._post = channel, post
        self._lock = Lock()
        self._why: str | None = None
        self._definite = False

    def up(self) -> None:
        """The way works."""
        with self._lock:
            news = self._why != ""
            self._why, self._definite = "", False
            if news:
                self._post(ChannelUp(self._channel))

    def down(self, why: str, definite: bool = False) -> None:
        """The way does not work, and why."""
        with self._lock:
            news = not self._why or (definite and why != self._why)
            if news:
                self._why, self._definite = why, definite
                self._post(ChannelDown(self._channel, why))
