"""A long list in blocks, where doing all of it at once would take many times its memory."""

from collections.abc import Iterator

import numpy as np

from verifier.mesh import IntArray

MOST = 1 << 18


def blocks(counts: IntArray, most: int = MOST) -> Iterator[slice]:
    """Consecutive items whose counts come to about so many, or one item that alone has more."""
    ends = np.cumsum(counts)
    total = int(ends[-1]) if len(ends) else 0
    cuts = np.searchsorted(ends, np.arange(most, total, most))
    places = np.unique(np.concatenate([[0], cuts + 1, [len(counts)]]))
    for start, stop in zip(places[:-1].tolist(), places[1:].tolist(), strict=True):
        yield slice(start, stop)
