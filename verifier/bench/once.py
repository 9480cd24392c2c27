"""Saying a thing once, and again only after it had passed."""

from collections.abc import Callable

from verifier.bench.events import Event

# What is spoken of, and which of the things to be said about it.
Subject = tuple[str, str]


class Once:
    """Passes on the first event about a subject, and no other until the matter is forgotten."""

    def __init__(self, tell: Callable[[Event], None]) -> None:
        self._tell = tell
        self._said: set[Subject] = set()

    def tell(self, subject: Subject, event: Event) -> None:
        """Say it, if it is new."""
        if subject not in self._said:
            self._said.add(subject)
            self._tell(event)

    def forget(self, subject: Subject) -> None:
        """The matter has passed."""
        self._said.discard(subject)

    def keep_all_but(self, first_word: str) -> None:
        """Everything said about this has passed."""
        self._said = {subject for subject in self._said if subject[0] != first_word}

    def keep_only(self, first_words: set[str]) -> None:
        """All other matters have passed."""
        self._said = {subject for subject in self._said if subject[0] in first_words}
