"""The same work on several things, two at a time."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Thing = TypeVar("Thing")
Made = TypeVar("Made")


def abreast(work: Callable[[Thing], Made], things: Iterable[Thing]) -> list[Made]:
    """What the work makes of each, in their order; on large arrays it leaves a second core free to be used."""
    with ThreadPoolExecutor(2) as threads:
        return list(threads.map(work, things))
