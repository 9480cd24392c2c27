"""The two streams a person sees: results on standard output, progress and complaints on standard error."""

import os
import shutil
import sys
from typing import TextIO


class Screen:
    """Knows the width, whether colour is wanted, and which characters each stream can show."""

    def __init__(self, out: TextIO | None = None, err: TextIO | None = None) -> None:
        self._out = out or sys.stdout
        self._err = err or sys.stderr

    @property
    def width(self) -> int:
        """Columns of the terminal, 100 when piped."""
        return shutil.get_terminal_size((100, 24)).columns if self._out.isatty() else 100

    @property
    def colour(self) -> bool:
        """Colour only on a terminal, and not where NO_COLOR is set (no-color.org)."""
        return self._out.isatty() and not os.environ.get("NO_COLOR")

    @property
    def ascii_only(self) -> bool:
        """True where the stream's encoding has no bars and dashes, as in an old Windows code page."""
        encoding = getattr(self._out, "encoding", None) or "ascii"
        return not encoding.lower().replace("-", "").startswith("utf")

    def say(self, text: str) -> None:
        """A result, on standard output."""
        _write(self._out, text)

    def tell(self, text: str) -> None:
        """Progress, on standard error."""
        _write(self._err, text)

    def ask(self, question: str) -> str | None:
        """The line that is typed after a question, which stands on standard error; None when there is no more input."""
        _write(self._err, f"{question}: ", end="")
        line = sys.stdin.readline()
        return line.rstrip("\r\n") if line else None

    def complain(self, text: str) -> None:
        """What went wrong and what to do, on standard error."""
        _write(self._err, f"verifier: {text}")


def _write(stream: TextIO, text: str, end: str = "\n") -> None:
    """Characters the stream cannot show become '?' rather than a crash."""
    encoding = getattr(stream, "encoding", None) or "utf-8"
    stream.write(text.encode(encoding, "replace").decode(encoding) + end)
    stream.flush()
