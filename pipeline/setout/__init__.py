"""setout: from survey files of a property to a planting that can be staked, piped and grown."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setout._version import __version__
from setout.progress import Say, silent

if TYPE_CHECKING:
    from setout.model.comparison import Comparison
    from setout.planting import Planting
    from setout.run import Judged

__all__ = ["__version__", "check", "compare", "new", "packet", "plan", "plants"]


def plan(path: str | Path, out: str | Path | None = None, *, products: Sequence[str] | None = None, say: Say = silent) -> Planting:
    """Plan a property: from its plan file to written results.

    Parameters
    ----------
    path : str or Path
        The plan file, TOML; paths in it are relative to it.
    out : str or Path, optional
        Folder of the results; ``out`` beside the plan file when absent. Files of others in it stay.
    products : Sequence of str, optional
        Which of ``geopackage, map, terrain, report, packet`` to write; all when absent, none for an empty sequence.
    say : callable, optional
        Hears (step, done, of): a step's name, how many of its parts are done, and of how many.

    Returns
    -------
    Planting
        The finished plan, as it was written; ``planting.layer("trees")`` is a GeoDataFrame.

    Raises
    ------
    SetoutError
        The input cannot be used, every fault of it at once, or the results cannot be written; nothing is written then.

    Examples
    --------
    >>> import tempfile, setout.demo
    >>> setout.plan(setout.demo.write_demo(Path(tempfile.mkdtemp())), products=())  # doctest: +SKIP
    <Planting 'Merganser Bench': 4,708 trees in 13 blocks>
    """
    from setout import run
    from setout.planting import Planting
    from setout.stages import terrain
    from setout.words.plan import CONTOURS_M

    made = run.plan(path, out, products=run.PRODUCTS if products is None else products, say=say)

    def contours() -> list[Any]:
        return list(terrain.contour_lines(made.ground, made.site, CONTOURS_M[made.site.units]))

    return Planting(made, contours)


def check(path: str | Path, trees: str, out: str | Path | None = None, *, say: Say = silent) -> Judged:
    """Judge positions, planned or surveyed after planting: room, setbacks, water, light, and how far off the plan they are.

    Parameters
    ----------
    path : str or Path
        The plan file.
    trees : str
        Reference to the positions, such as ``"asbuilt.csv"`` or ``"out/plan.gpkg:trees"``.
    out : str or Path, optional
        Folder for the as-built layers and page; none are written when absent.
    say : callable, optional
        Hears (step, done, of): a step's name, how many of its parts are done, and of how many.

    Returns
    -------
    Judged
        How many trees were looked at, how many fall short, and every finding.

    Raises
    ------
    SetoutError
        The input cannot be used; nothing is written then.
    """
    from setout import run

    return run.check(path, trees, out, say=say)


def compare(path: str | Path, out: str | Path | None = None, **options: Any) -> Comparison:
    """Put several ways of planting the same ground side by side.

    Parameters
    ----------
    path : str or Path
        The plan file; its ``[[option]]`` tables are compared.
    out : str or Path, optional
        Folder for compare.html and compare.csv; ``out`` beside the plan file when absent.
    **options : Any
        ``steps`` (texts with units), ``block`` (a name), ``limits`` (:class:`setout.run.Limits`), ``say``.

    Returns
    -------
    Comparison
        One outcome for each option.

    Raises
    ------
    SetoutError
        The input cannot be used; nothing is written then.
    """
    from setout import run

    return run.compare(path, out, **options)


def new(folder: str | Path, **files: Any) -> Path:
    """Write a first plan file for survey files; see :func:`setout.run.newplan.write_new_plan`."""
    from setout.run import newplan

    return newplan.write_new_plan(Path(folder), **files)


def packet(path: str | Path, out: str | Path | None = None, *, say: Say = silent) -> Planting:
    """Write the contractor's files only; as :func:`plan`."""
    return plan(path, out, products=("packet",), say=say)


def plants(word: str = "") -> list[Any]:
    """Return the entries of the catalogue whose name holds a word, each figure with its source.

    >>> [entry.name for entry in plants("quince")]
    ['quince, small tree']
    """
    from setout.tables import catalogue

    return [entry for entry in catalogue.entries() if word.casefold() in entry.name.casefold()]
