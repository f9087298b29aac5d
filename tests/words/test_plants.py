"""What ``setout plants`` shows: within its width, every figure beside its source, all of it for machines."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from setout.cli import command
from setout.tables import catalogue
from setout.tables.catalogue import CatalogueEntry
from setout.words.plants import WIDTH, plant_list, plant_record, plant_sheet, source_list

ALL = catalogue.entries()


def squeezed(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize("units", ["us", "si"])
def test_no_line_is_wider_than_the_screen(units: str) -> None:
    for entry in ALL:
        for line in (*plant_sheet(entry, units), *source_list([entry])):
            assert len(line) <= WIDTH, line
            assert line == line.rstrip()
    assert max(len(line) for line in (*plant_list(ALL, units), *source_list(ALL))) <= WIDTH


@pytest.mark.parametrize("entry", ALL, ids=lambda entry: entry.name)
def test_every_figure_is_on_the_sheet_and_its_source_beside_it(entry: CatalogueEntry) -> None:
    sheet = plant_sheet(entry)
    for label, value, source in catalogue.figures_of(entry):
        if label == "cautions":
            assert all(part in squeezed(sheet) for part in value.split("; "))
            continue
        (row,) = [k for k, line in enumerate(sheet) if line.startswith(f"  {label:<20}")]
        assert sheet[row][22:].startswith(value)
        column = squeezed([line[48:] for line in sheet])
        assert source in column
    assert sheet[0].startswith(entry.name)


def test_a_plant_a_line() -> None:
    lines = plant_list(ALL)
    assert len(lines) == len(ALL) + 1
    widths = [lines[0].index(head) for head in ("height", "spread", "in the row", "rows", "bloom", "partner")]
    row = next(line for line in lines if line.startswith("apple, semi-dwarf "))
    cells = [row[a:b].strip() for a, b in zip(widths, [*widths[1:], None], strict=True)]
    assert cells == ["12-18", "12-18", "12-18", "18-20", "mid", "partner"]


def test_names_are_whole_in_either_unit() -> None:
    for units in ("us", "si"):
        assert not [line for line in plant_list(ALL, units) if "..." in line]


def test_records_are_json_of_everything() -> None:
    text = json.dumps([plant_record(entry) for entry in ALL], allow_nan=False)
    back = {record["name"]: record for record in json.loads(text)}
    assert set(back) == {entry.name for entry in ALL}
    apple = back["apple, semi-dwarf"]
    assert set(apple) == {"name", *CatalogueEntry.__dataclass_fields__}
    assert apple["spread_range_m"] == pytest.approx([3.6576, 5.4864])
    assert back["pawpaw, small tree"]["kc_mid"] is None


# -------------------------------------------------------------------------------------------- the command


PLAN = """units = "si"
catalogue = "own plants.csv"

[[plant]]
name = "apple, semi-dwarf"
spread = "4 m"
cautions = "keep the geese off"

[[plant]]
name = "seaberry, hedge"
spread = ["1.5 m", "2 m"]
pollination = "dioecious"
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    (tmp_path / "own plants.csv").write_text("name,kc_mid,kc_source\nfig,0.6,our meter\n", encoding="utf-8")
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    return tmp_path / "plan.toml"


def said(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = command.main(["plants", *args])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_all_plants_and_what_the_sources_are(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys)
    assert (code, err) == (0, "")
    assert all(f"{entry.name} " in out or entry.name[:25] in out for entry in ALL)
    assert all(f"  {name}: " in out for name, _, _ in catalogue.publications())


@pytest.mark.parametrize("word", ["M.9", "m.9 CLASS", "apple, dwarf (", "apple,  dwarf ("])
def test_one_plant_by_a_word(capsys: pytest.CaptureFixture[str], word: str) -> None:
    code, out, _ = said(capsys, word)
    assert code == 0
    assert out.startswith("apple, dwarf (M.9 class)\n  height              8-10 ft")
    assert "Ohio State Extension: R. C. Funt" in out
    assert "NCAT/ATTRA" not in out


def test_units(capsys: pytest.CaptureFixture[str]) -> None:
    assert "2.44-3.05 m" in said(capsys, "M.9", "--units", "si")[1]


def test_no_such_plant(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys, "concrete")
    assert (code, out) == (2, "")
    assert err == 'setout: setout plants: no plant has "concrete" in its name; leave the word out to see them all\n'


def test_the_grower_sees_which_figures_are_theirs(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    _, out, _ = said(capsys, "semi-dwarf", "--plan", str(plan))
    assert "  spread              4 m                       yours (plan.toml)\n" in out
    assert "keep the geese off (yours (plan.toml))" in out
    _, out, _ = said(capsys, "fig", "--plan", str(plan))
    assert "0.60                      yours (own plants.csv): our meter\n" in out
    _, out, _ = said(capsys, "--plan", str(plan))
    assert "apple, semi-dwarf * " in out
    assert "seaberry, hedge * " in out
    assert "quince, small tree  " in out


def test_own_plants_for_machines(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    _, out, _ = said(capsys, "seaberry", "--plan", str(plan), "--json")
    (record,) = json.loads(out)
    assert record["origin"] == "plan.toml"
    assert record["own"] == {"spread_range_m": "yours (plan.toml)", "pollination": "yours (plan.toml)"}
    assert record["spread_range_m"] == [1.5, 2]
    assert record["height_range_m"] is None


def test_all_faults_of_own_plants(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    plan.write_text(PLAN.replace('"4 m"', "4"), encoding="utf-8")
    (plan.parent / "own plants.csv").write_text("name,kc_mid\nfig,x\n", encoding="utf-8")
    code, out, err = said(capsys, "--plan", str(plan))
    assert (code, out) == (2, "")
    assert err.splitlines() == [
        (
            'setout: own plants.csv: line 2, column kc_mid: "x" is not a number; write digits with a point, the unit is '
            "in the name of the column"
        ),
        'setout: plan.toml: plant[1].spread: 4 has no unit; write "16 ft" or "4.9 m"',
    ]


def test_a_csv_that_is_not_there(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    (plan.parent / "own plants.csv").unlink()
    code, _, err = said(capsys, "--plan", str(plan))
    assert code == 2
    assert 'plan.toml: catalogue: "own plants.csv": there is no file' in err


def test_a_csv_that_is_no_text(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    (plan.parent / "own plants.csv").write_bytes("name\npi\u00f1on".encode("latin-1"))
    code, _, err = said(capsys, "--plan", str(plan))
    assert code == 2
    assert "own plants.csv: is not text in UTF-8; save it as CSV with the encoding UTF-8" in err
