"""What every refusal of bad input has to look like."""

from __future__ import annotations

from command import Ran


def proper(ran: Ran, code: int = 2) -> list[str]:
    """Check the form of a refusal: exit code, one line a fault with what, where and remedy, and nothing else anywhere."""
    assert (ran.code, ran.out) == (code, "")
    assert "Traceback" not in ran.err
    assert "did not expect" not in ran.err
    lines = ran.err.splitlines()
    assert lines
    for line in lines:
        assert line.startswith("setout: ")
        assert ": " in line.removeprefix("setout: ")  # where: what
        assert "; " in line  # what; remedy
        assert "Input should" not in line
        assert "Error" not in line
    return lines
