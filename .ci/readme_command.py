"""Print one of the README's two commands, so that what the checks run is what a reader would type."""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"


def command(name: str) -> str:
    """Return the command of the README that plans the demo, or the one that passes the tests.

    Parameters
    ----------
    name : str
        ``"demo"`` or ``"tests"``.

    Returns
    -------
    str
        The only line of the first or of the second ``sh`` block of the README.

    Raises
    ------
    ValueError
        The README does not begin with two blocks of one line each.
    """
    blocks = re.findall(r"^```sh\n(.*?)^```$", README.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    lines: list[str] = [block.strip() for block in blocks[:2]]
    if len(lines) < 2 or any("\n" in line or not line for line in lines):
        raise ValueError(f"{README}: the first two sh blocks must hold one line each")
    return lines[("demo", "tests").index(name)]


if __name__ == "__main__":
    print(command(sys.argv[1]))
