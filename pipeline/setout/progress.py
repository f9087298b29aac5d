"""How far work is: what tells it, and what hears it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

Say = Callable[[str, int, int], None]
"""Hears the name of a step, how many of its parts are done and of how many: first that none are, at last that all are."""
Item = TypeVar("Item")


def silent(step: str, done: int, of: int) -> None:
    """Hear nothing."""


@contextmanager
def counted(step: str, of: int, say: Say) -> Iterator[Callable[[int], None]]:
    """Tell that a step begins and ends; yield what is called with the number of parts that have been done since."""
    done = 0

    def more(count: int) -> None:
        nonlocal done
        done += count
        say(step, done, of)

    say(step, 0, of)
    yield more
    if done < of:
        say(step, of, of)


def each(items: Sequence[Item], step: str, say: Say) -> Iterator[Item]:
    """Yield items, and tell how many of them are done.

    >>> list(each("ab", "letters", print))
    letters 0 2
    letters 1 2
    letters 2 2
    ['a', 'b']
    """
    with counted(step, len(items), say) as more:
        for item in items:
            yield item
            more(1)
