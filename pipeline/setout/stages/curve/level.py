"""One line of a set of contour rows: which pieces of it are planted, and where the rows beyond it end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from setout.geometry.lines.curves import Path, Spots, Stretch, path_of
from setout.geometry.lines.levellines import gentle_runs, too_steep
from setout.geometry.lines.pathcut import Blade, cut
from setout.model import Bools, Floats
from setout.stages.curve.baseline import LOOKED_AT_M, STRETCH_M, Terms
from setout.stages.curve.common import Line, ends_apart_m, line_of, trees_along
from setout.stages.curve.falls import gentle_parts, mean_fall

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

FEWEST = 3
"""Rows with fewer trees are left out."""
LASTING_M = 30.0
"""A fall over the limit for this long ends the rows beyond it too; a shorter one only interrupts its own row [m]."""
OVER_GAPS = 2.0
"""A row goes on behind ground that is not planted where that is no wider than so many row distances."""
MORE = 1.03
"""A line falls by so many times the least fall, so that its trees do too."""
ROUGH = 0.98
"""Share of the greatest fall that a line keeps to, looked at between its trees."""

FOLDED = 1.6
"""Parts of one line that come nearer than a row distance with so many row distances of line between them are a fold."""
TURNS_BACK = np.cos(np.radians(100.0))
"""Cosine of the turn, within half a row distance before and behind, at which a row ends."""


@dataclass(frozen=True, slots=True)
class Seen:
    """Places along one level, and whether the rows beyond end there.

    Attributes
    ----------
    xy : places [m]
    ended : the rows beyond end there
    met : some of the level lies on the ground of its set of rows
    """

    xy: Floats
    ended: Bools
    met: bool = False

    def ends(self, xy: Floats, distance: float) -> Bools:
        """Tell which points lie beyond an end: whose nearest place, within a distance [m], is one."""
        from scipy.spatial import cKDTree

        if not self.ended.any():
            return np.zeros(len(xy), bool)
        away, nearest = cKDTree(self.xy).query(xy, distance_upper_bound=distance)
        return np.asarray(np.isfinite(away) & self.ended[np.minimum(nearest, len(self.ended) - 1)], bool)


class Places:
    """Places that others keep a distance from, taken up many at a time.

    >>> places = Places(2.0)
    >>> places.add(np.array([[0, 0], [9, 9.0]]))
    >>> places.near(np.array([[1, 1], [0, 2.0]])).tolist()
    [True, False]
    """

    def __init__(self, distance: float) -> None:
        self._limit = distance - 1e-6
        self._trees: list[cKDTree] = []

    def add(self, xy: Floats) -> None:
        """Take places up; trees no larger than what is new grow together with it, so that there are never many."""
        from scipy.spatial import cKDTree

        while self._trees and self._trees[-1].n <= len(xy):
            xy = np.concatenate([self._trees.pop().data, xy])
        if len(xy):
            self._trees.append(cKDTree(xy))

    def near(self, xy: Floats) -> Bools:
        """Tell which points lie too near to a place."""
        out = np.zeros(len(xy), bool)
        for tree in self._trees:
            out |= np.isfinite(tree.query(xy, distance_upper_bound=self._limit)[0])
        return out


@dataclass(frozen=True, slots=True)
class Set:
    """Rows of one baseline: their trees, the pieces of line that they take up, ends included, and places along these."""

    rows: list[Line]
    taken: list[shapely.LineString]
    places: Places


def one_level(terms: Terms, line: Floats, blade: Blade, before: Seen, into: tuple[Spots, Set]) -> Seen:
    """Plant what may be planted along one line."""
    spots, out = into
    path = path_of(line)
    pieces = [stretch for _, stretch in cut([path], blade)] if path is not None else []
    seen: list[Seen] = [Seen(np.empty((0, 2)), np.empty(0, bool))]
    for row in _rows_of(_opened(terms, pieces), terms):
        whole = Stretch(row[0].path, row[0].low, row[-1].high)
        s, xy, z, spacing = _looked_at(terms, whole)
        ended = before.ends(xy, 2.0 * terms.pattern.row_distance_m)
        crowded = out.places.near(xy)
        distance = terms.pattern.row_distance_m
        if whole.path.closed or not whole.path.onward(whole.low - distance, whole.high + distance):
            crowded |= _folded(whole, s, xy, distance) | _kinked(whole, s, distance)
        runs = gentle_runs(np.where(ended | crowded, np.nan, z), spacing, STRETCH_M, ROUGH * terms.most)
        planted: list[Floats] = []
        shut = np.ones(len(s), bool)
        for (a, b), (low, high) in zip(runs, _apart(whole.path, runs, s, terms.pattern.row_distance_m), strict=True):
            shut[a : b + 1] = False
            falls = abs(z[b] - z[a]) >= MORE * terms.least * (s[b] - s[a])
            if falls and _plant(terms, [p for piece in row if (p := _within(piece, low, high))], spots, out):
                planted.append(xy[(s >= low) & (s <= high)])
        out.places.add(np.concatenate([np.empty((0, 2)), *planted]))
        seen.append(Seen(xy, _lasting(shut, ended, spacing)))
    return Seen(np.concatenate([part.xy for part in seen]), np.concatenate([part.ended for part in seen]), bool(pieces))


def _looked_at(terms: Terms, stretch: Stretch) -> tuple[Floats, Floats, Floats, float]:
    """Return places along a stretch, their coordinates, their heights and their distance [m]."""
    count = max(int(np.ceil(stretch.room / LOOKED_AT_M)), 1)
    s = np.linspace(stretch.low, stretch.high, count + 1)
    xy = stretch.path.points(s)
    return s, xy, terms.ground.as_found(xy[:, 0], xy[:, 1]), stretch.room / count


def _opened(terms: Terms, pieces: list[Stretch]) -> list[Stretch]:
    """Open a closed line where it is too steep, if it is anywhere."""
    if len(pieces) != 1 or not pieces[0].path.closed or pieces[0].room < pieces[0].path.length - 1e-6:
        return pieces
    s, _, z, spacing = _looked_at(terms, pieces[0])
    over = int(2 * STRETCH_M / spacing) + 1
    round_it = np.concatenate([z[:-1], z[:-1][: min(over, len(z) - 1)]])
    bad = np.flatnonzero(too_steep(round_it, spacing, STRETCH_M, ROUGH * terms.most))
    if not len(bad):
        return pieces
    path, start = pieces[0].path, float(s[bad[0] % (len(s) - 1)])
    xy = path.part(start, path.length) if start > 1e-6 else path.xy
    opened = path_of(np.vstack([xy, path.part(0.0, start)[1:]]) if start > 1e-6 else xy)
    if opened is None:
        return []
    return [Stretch(Path(opened.x, opened.y, opened.s, closed=False), 0.0, opened.length)]


def _folded(stretch: Stretch, s: Floats, xy: Floats, distance: float) -> Bools:
    """Tell where a line that folds back comes too near to an earlier part of itself."""
    from scipy.spatial import cKDTree

    out = np.zeros(len(s), bool)
    pairs = cKDTree(xy).query_pairs(0.98 * distance, output_type="ndarray")
    along = np.abs(s[pairs[:, 1]] - s[pairs[:, 0]])
    if stretch.path.closed:
        along = np.minimum(along, stretch.path.length - along)
    out[pairs[along > FOLDED * distance].max(axis=1)] = True
    return out


def _kinked(stretch: Stretch, s: Floats, distance: float) -> Bools:
    """Tell where a line turns back so sharply that neither machine nor wire could follow it."""
    path, reach = stretch.path, distance / 2
    legs = [path.points(s) - path.points(s - reach), path.points(s + reach) - path.points(s)]
    sizes = np.hypot(*legs[0].T) * np.hypot(*legs[1].T)
    return np.asarray((legs[0] * legs[1]).sum(axis=1) < TURNS_BACK * sizes - 1e-9)


def _rows_of(pieces: list[Stretch], terms: Terms) -> list[list[Stretch]]:
    """Put pieces of one line together to rows: those that only unplanted ground, no other row, keeps apart a little."""
    rows: list[list[Stretch]] = []
    distance = terms.pattern.row_distance_m
    for piece in pieces:
        if rows and rows[-1][-1].path is piece.path:
            low, high = rows[-1][-1].high, piece.low
            inner = piece.path.points(np.linspace(low, high, 5)[1:-1])
            if high - low <= OVER_GAPS * distance and not shapely.contains_xy(terms.whole, *inner.T).any():
                rows[-1].append(piece)
                continue
            high_end, low_end = _parted(piece.path, low, high, distance)
            last = rows[-1][-1]
            rows[-1][-1] = Stretch(last.path, last.low, high_end)
            piece = Stretch(piece.path, low_end, piece.high)
        rows.append([piece])
    return [row for row in rows if row[-1].high - row[0].low > 0]


def _within(piece: Stretch, low: float, high: float) -> Stretch | None:
    low, high = max(piece.low, low), min(piece.high, high)
    return Stretch(piece.path, low, high) if low <= high else None


def _apart(path: Path, runs: list[tuple[int, int]], s: Floats, distance: float) -> list[tuple[float, float]]:
    """Return where runs of one line begin and end, so that the ends of two rows keep the distance of rows."""
    low, high = s[[a for a, _ in runs]], s[[b for _, b in runs]]
    for k in range(len(runs) - 1):
        high[k], low[k + 1] = _parted(path, float(high[k]), float(low[k + 1]), distance)
    return list(zip(low.tolist(), high.tolist(), strict=True))


def _parted(path: Path, high: float, low: float, distance: float) -> tuple[float, float]:
    """Move the end of one row back and the beginning of the next on, until they are a straight distance apart."""
    for _ in range(8):
        (ax, ay), (bx, by) = path.points(np.array([high, low]))
        short = distance - float(np.hypot(bx - ax, by - ay))
        if short <= 0:
            break
        high, low = high - 0.52 * short, low + 0.52 * short
    return high, low


def _lasting(shut: Bools, ended: Bools, spacing: float) -> Bools:
    """Tell which places end the rows beyond: those of stretches that stay shut for long, or that an earlier row ended."""
    out = np.zeros(len(shut), bool)
    edge = np.flatnonzero(np.diff(np.concatenate([[False], shut, [False]]).astype(np.int8)))
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        out[a:b] = (b - a) * spacing >= LASTING_M or ended[a:b].any()
    return out


def _plant(terms: Terms, pieces: list[Stretch], spots: Spots, out: Set) -> bool:
    """Set the trees of one run, check their fall tree by tree, and keep what is long enough; tell whether anything is."""
    pattern = terms.pattern
    placed = [tree for piece in pieces for tree in trees_along(piece, pattern, spots, None, pattern.row_distance_m)]
    if not placed:
        return False
    row = line_of(pieces[0].path, placed)
    z = terms.ground.as_found(row.x, row.y)
    kept = np.zeros(len(placed), bool)
    rows: list[Line] = []
    for a, b in gentle_parts(row, z, (STRETCH_M, ends_apart_m(pattern)), terms.most):
        part = row.part(a, b)
        if b - a >= FEWEST and mean_fall(part, z[a:b]) >= terms.least:
            rows.append(part)
            kept[a:b] = True
    for k in np.flatnonzero(~kept):
        spots.drop(*placed[k][1:])
    if not rows:
        return False
    out.rows.extend(rows)
    out.taken.append(shapely.LineString(pieces[0].path.part(pieces[0].low, pieces[-1].high)))
    return True
