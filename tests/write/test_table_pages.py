"""Finished pages, judged by SQLite itself: rows laid down come back, and pass its own checks."""

from __future__ import annotations

import sqlite3

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.write import records
from setout.write import table_pages as pages
from setout.write.records import RowTooLongError
from setout.write.table_pages import PAGE, PageFile


def lay(path, columns, rows, chunk=50_000):
    """Lay rows into a fresh table and return what SQLite reads."""
    path.unlink(missing_ok=True)
    db = sqlite3.connect(path)
    names = [f"c{k}" for k in range(len(columns))]
    db.execute(f"CREATE TABLE t (id INTEGER PRIMARY KEY, {', '.join(names)})")
    db.execute("CREATE TABLE after_it (v)")
    db.commit()
    root = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 't'").fetchone()[0]
    db.close()
    file = PageFile(path)
    assert file.usable
    parts = (slice(k, min(rows, k + chunk)) for k in range(0, rows, chunk))
    file.fill(
        root,
        (pages.leaves(p.start + 1, p.stop - p.start, [records.NULL, *(c(p) for c in columns)]) for p in parts),
    )
    file.keep()
    file.close()
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    found = db.execute(f"SELECT id, {', '.join(names)} FROM t ORDER BY id").fetchall()
    if rows:  # the b-tree is searched, not only walked
        for key in {1, rows // 2 + 1, rows}:
            assert db.execute("SELECT id FROM t WHERE id = ?", (key,)).fetchone() == (key,)
    db.execute("INSERT INTO t (id) VALUES (?)", (rows + 1,))
    db.execute("INSERT INTO after_it VALUES (1)")
    db.execute("DELETE FROM t WHERE id % 3 = 0")
    db.commit()
    assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert path.stat().st_size % PAGE == 0
    db.close()
    return found


TEXT = st.one_of(st.none(), st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=300))
NUMBER = st.one_of(st.just(float("nan")), st.floats(allow_infinity=True))
WHOLE = st.integers(-(2**63), 2**63 - 1)


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(st.tuples(TEXT, NUMBER, WHOLE, st.booleans(), st.binary(min_size=1, max_size=80)), max_size=120),
    chunk=st.sampled_from([1, 7, 1000]),
)
def test_any_rows_come_back(tmp_path_factory, rows, chunk):
    path = tmp_path_factory.getbasetemp() / "rows.db"
    text, number, whole, known, blob = ([row[k] for row in rows] for k in range(5))
    number, whole, known = np.array(number, float), np.array(whole, np.int64), np.array(known, bool)
    lengths = np.array([len(b) for b in blob], np.int64)
    matrix = np.array(blob, "S80").view(np.uint8).reshape(len(blob), 80) if blob else np.empty((0, 80), np.uint8)
    found = lay(
        path,
        [
            lambda p: records.texts(text[p]),
            lambda p: records.reals(number[p]),
            lambda p: records.integers(whole[p]),
            lambda p: records.integers(whole[p], known[p]),
            lambda p: records.blobs(matrix[p], lengths[p]),
        ],
        len(rows),
        chunk,
    )
    expected = [
        (k, t, x if np.isfinite(x) else None, int(w), int(w) if ok else None, b)
        for k, (t, x, w, ok, b) in enumerate(zip(text, number.tolist(), whole, known, blob, strict=True), 1)
    ]
    assert found == expected


@pytest.mark.parametrize("rows", [1, 300, 400, 130_000, 1_500_000])
def test_trees_of_one_to_three_levels(tmp_path, rows):
    """About 290 rows of this width fit a page and 371 pages an inner page: one, two and three levels deep."""
    found = lay(
        tmp_path / "t.db", [lambda p: records.integers(np.arange(p.start, p.stop, dtype=np.int64) % 1000)], rows
    )
    assert [row[0] for row in found] == list(range(1, rows + 1))
    assert [row[1] for row in found] == (np.arange(rows) % 1000).tolist()


@pytest.mark.parametrize("length", [1, 57, 58, 4000, 4040])
def test_longest_row_that_fits(tmp_path, length):
    texts = ["x" * length] * 5
    assert lay(tmp_path / "t.db", [lambda p: records.texts(texts[p])], 5) == [(k, texts[0]) for k in range(1, 6)]


def test_a_row_that_does_not_fit_is_refused():
    for length in (4070, 9000):
        with pytest.raises(RowTooLongError):
            pages.leaves(1, 1, [records.NULL, records.texts(["x" * length])])


def test_the_lock_page_is_left_out(tmp_path, monkeypatch):
    """The page at 1 GiB is never used (file format, "The Lock-Byte Page"); here it is moved nearer."""
    monkeypatch.setattr(pages, "LOCK_PAGE", 20)
    path = tmp_path / "t.db"
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE t (id INTEGER PRIMARY KEY, c)")
    db.commit()
    db.close()
    file = PageFile(path)
    values = np.arange(20_000)
    file.fill(2, [pages.leaves(1, 20_000, [records.NULL, records.integers(values)])])
    file.keep()
    file.close()
    assert path.read_bytes()[19 * PAGE : 20 * PAGE] == bytes(PAGE)
    db = sqlite3.connect(path)
    assert [r[0] for r in db.execute("SELECT c FROM t ORDER BY id")] == values.tolist()
    problems = [r[0] for r in db.execute("PRAGMA integrity_check")]
    assert all("never used" in line or "unused" in line for line in problems)
    db.close()


def test_what_is_not_kept_leaves_the_file_as_it_was(tmp_path):
    path = tmp_path / "t.db"
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE t (id INTEGER PRIMARY KEY, c)")
    db.commit()
    db.close()
    before = path.read_bytes()
    file = PageFile(path)
    file.fill(2, [pages.leaves(1, 900, [records.NULL, records.integers(np.arange(900))])])
    file.close()
    assert path.read_bytes() == before
    file = PageFile(path)
    file.fill(2, [pages.leaves(1, 3, [records.NULL, records.integers(np.arange(3))])])
    file.close()
    assert path.read_bytes() == before


@pytest.mark.parametrize("value", [0, 127, 128, 16383, 16384, 2**21 - 1, 2**21, 2**28, 2**35 - 1])
def test_varint_is_that_of_the_file_format(value):
    """The format's definition, written out: big-endian groups of 7 bits, high bit set on all but the last."""
    groups = [value & 127]
    rest = value >> 7
    while rest:
        groups.insert(0, 128 | rest & 127)
        rest >>= 7
    piece = records.varint(np.array([value, 1]))
    length = piece.matrix.shape[1] if piece.lengths is None else piece.lengths[0]
    assert bytes(piece.matrix[0, :length]) == bytes(groups)
