"""News from the operating system that something came into the inbox: a hint to look, and never more than that.

Events are lost when many files come at once, and a watched folder can be renamed or mounted over without any event
(tried with watchdog 7.1 on Linux); so the look itself decides, and it is taken without hints too.
"""

import logging
from collections.abc import Callable
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver

Place = tuple[int, int]

# It complains to the terminal of events that come while it is being stopped; nothing hangs on those.
logging.getLogger("watchdog").addHandler(logging.NullHandler())


class InboxHints(FileSystemEventHandler):
    """Calls `on_hint`, from another thread, when something was made, closed after writing or moved in the inbox.

    Opened, read and closed-without-writing are not listened to: looking at files causes them.
    """

    def __init__(self, inbox: Path, on_hint: Callable[[], None]) -> None:
        self._inbox, self._on_hint = inbox, on_hint
        self._observer: BaseObserver | None = None
        self._place: Place | None = None

    def on_created(self, event: FileSystemEvent) -> None:
        """Something new, or moved in from elsewhere."""
        self._on_hint()

    def on_closed(self, event: FileSystemEvent) -> None:
        """A writer has let go."""
        self._on_hint()

    def on_moved(self, event: FileSystemEvent) -> None:
        """A temporary name became the real one."""
        self._on_hint()

    def see_to_it(self) -> None:
        """Listen, and listen anew when the folder is another one than before or the listening has died.

        Raises OSError when the inbox is not there or the system refuses to be listened to.
        """
        status = self._inbox.stat()
        place = (status.st_dev, status.st_ino)
        if place != self._place or not self._is_alive():
            self.stop()
            self._listen()
            self._place = place

    def stop(self) -> None:
        """Listen no more."""
        if self._observer and self._observer.is_alive():
            self._observer.stop()
            self._observer.join()
        self._observer, self._place = None, None

    def _listen(self) -> None:
        observer = Observer()
        observer.schedule(self, str(self._inbox))
        observer.start()
        self._observer = observer

    def _is_alive(self) -> bool:
        """The observer outlives its emitters, which die with the folder they watch."""
        observer = self._observer
        return bool(observer and observer.is_alive() and all(emitter.is_alive() for emitter in observer.emitters))
