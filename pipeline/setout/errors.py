"""The one family of errors: what is wrong, where, and what mends it.

Doubts that do not stop the work are not errors but findings (:class:`setout.model.Finding`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

_ENDLESS = re.compile(r"""([^\s"';:,]{100})[^\s"';:,]{150,}""")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing in the input that cannot be used.

    Attributes
    ----------
    what : the fault in one sentence, quoting the offending value
    where : file, layer, feature, key or coordinate at fault
    remedy : what the user can do about it
    """

    what: str
    where: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        """Return the fault as one line: where, what, remedy; what it quotes is cut where it runs on without an end.

        >>> print(Fault("distance = 15 has no unit", "plan.toml: setback[1].distance", 'write "15 ft"'))
        plan.toml: setback[1].distance: distance = 15 has no unit; write "15 ft"
        """
        text = f"{self.where}: {self.what}" if self.where else self.what
        return _ENDLESS.sub(r"\1...", f"{text}; {self.remedy}" if self.remedy else text)


class SetoutError(Exception):
    """Root of every error that setout raises on purpose.

    Carries one or more :class:`Fault`; the command prints each on its own line and leaves with ``exit_code``.
    """

    exit_code = 2

    def __init__(self, what: str, where: str = "", remedy: str = "", *, faults: tuple[Fault, ...] = ()) -> None:
        self.faults = faults or (Fault(what, where, remedy),)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class PlanFaults(SetoutError):  # noqa: N818 - it holds all of them
    """All the faults of one plan file and the files it names, together."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("", faults=faults)


class Refusal(SetoutError):  # noqa: N818 - as the trade says
    """A stage cannot use what it was given: a code and the figures behind it, worded by :mod:`setout.words.refusals`.

    >>> raise Refusal("block_without_ground", block="A")
    Traceback (most recent call last):
    setout.errors.Refusal: block_without_ground (block=A)
    """

    def __init__(self, code: str, **figures: float | str | tuple[str, ...] | None) -> None:
        self.code, self.figures = code, figures
        super().__init__(f"{code} ({', '.join(f'{name}={value}' for name, value in figures.items())})")


class Refusals(SetoutError):  # noqa: N818 - it holds all of them
    """Refusals of works that do not depend on each other, together; each once."""

    def __init__(self, refusals: Iterable[Refusal]) -> None:
        self.refusals = tuple({str(refusal): refusal for refusal in refusals}.values())
        super().__init__("", faults=tuple(fault for refusal in self.refusals for fault in refusal.faults))


class Interrupted(SetoutError):  # noqa: N818 - nothing is in error
    """The work was stopped, or there is no room to write it; earlier results are untouched."""

    exit_code = 3


class SetAside(UserWarning):
    """Something that lay beside the results was not used; the work went on without it."""
