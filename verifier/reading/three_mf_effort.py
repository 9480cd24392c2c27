"""How much work the XML of a 3MF package asks for, so that a small package cannot ask for minutes of it."""

from verifier.errors import TooLarge
from verifier.reading.file_bytes import EXPORT_AGAIN

# What things cost, in nanoseconds, with some room, on a desktop of 2023. They are counted and never timed, so that one
# file is read everywhere or refused everywhere. Unpacking is within them.
ELEMENT_NS, ATTRIBUTE_NS, LINE_OR_ENTITY_NS, BYTE_NS = 700, 200, 20, 6
PLAIN_ROW_NS, MIXED_ROW_NS = 300, 800
# What a package may ask for: this for each of its bytes, 1.3 s for ten megabytes. A scan packs a corner or a triangle
# into ten to fifteen bytes, which are 1.6 microseconds of the XML parser or 0.3 as a plain row; a level grid of whole
# numbers packs to 2.5, all plain rows. One element again and again packs to nothing and may be padded with noise.
NS_FOR_EACH_PACKED_BYTE, NS_AT_ALL_EVENTS = 130, 300_000_000


class Effort:
    """Counts what a package has asked for, all its parts together."""

    def __init__(self, packed_bytes: int, where: str) -> None:
        self._left_ns = NS_AT_ALL_EVENTS + NS_FOR_EACH_PACKED_BYTE * packed_bytes
        self._where = where

    def parsing(self, text: bytes) -> None:
        """Count a text before the XML parser gets it."""
        small = text.count(b"\n") + text.count(b"&")
        tags, attributes = text.count(b"<"), text.count(b"=")
        self._take(ELEMENT_NS * tags + ATTRIBUTE_NS * attributes + LINE_OR_ENTITY_NS * small + BYTE_NS * len(text))

    def rows(self, count: int, of_one_make: bool) -> None:
        """Count rows that went past the parser."""
        self._take((PLAIN_ROW_NS if of_one_make else MIXED_ROW_NS) * count)

    def _take(self, nanoseconds: int) -> None:
        self._left_ns -= nanoseconds
        if self._left_ns < 0:
            what = "it repeats itself: it unpacks to far more elements than its size can say anything with"
            raise TooLarge(what, where=self._where, do=EXPORT_AGAIN)
