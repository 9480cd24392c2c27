"""Names and sentences from outside, made safe to show: one line, nothing that steers a screen."""

import unicodedata

# What our own sentences use beyond ASCII, for screens that can show nothing else.
_IN_ASCII = str.maketrans(
    {"±": "+/-", "×": "x", "–": "-", "—": "-", "−": "-", "·": "-", "…": "...", "°": "deg", "Ø": "dia ", "µ": "u"}
    | {"’": "'", "‘": "'", "“": '"', "”": '"', "≥": ">=", "≤": "<=", "→": "->", "€": "EUR", "£": "GBP", "ß": "ss"}
)


def one_line(text: str) -> str:
    """Line breaks and tabs become spaces; control, direction and other invisible characters are shown as unknown.

    A file name may hold an escape sequence that clears the screen, or a character that turns the reading direction.
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else " " if c.isspace() else "\N{REPLACEMENT CHARACTER}" for c in text)


def in_ascii(text: str) -> str:
    """The same sentence in ASCII: accents fall off, what has no likeness becomes '?'."""
    letters = unicodedata.normalize("NFKD", text.translate(_IN_ASCII))
    return "".join(c for c in letters if not unicodedata.combining(c)).encode("ascii", "replace").decode("ascii")
