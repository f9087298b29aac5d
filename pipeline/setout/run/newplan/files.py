"""Write a plan file for a new site, never over another one."""

from __future__ import annotations

import contextlib
import errno
import os
from typing import TYPE_CHECKING, Final

from setout.errors import Interrupted, SetoutError
from setout.planfile.schema import SCHEMA_NAME, schema_text
from setout.read.reference import is_there
from setout.run.newplan.look import SurveyFiles, look
from setout.run.newplan.text import plan_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

PLAN_NAME: Final = "plan.toml"
"""Name of the plan file."""


def write_new_plan(
    folder: Path,
    *,
    boundary: Path,
    dem: Sequence[Path] = (),
    features: Sequence[Path] = (),
    units: str | None = None,
    crs: str | None = None,
    dem_unit: str | None = None,
) -> Path:
    """Look into survey files and write a plan file with what is there and a comment on every choice."""
    plan, schema = folder / PLAN_NAME, folder / SCHEMA_NAME
    if units not in (None, "us", "si"):
        raise SetoutError(f'"{units}" is no system of units', "units", 'write "us" or "si"')
    if is_there(plan) or (is_there(folder) and plan.is_symlink()):
        raise _there_already(plan)
    keep_schema = is_there(schema)  # of an earlier plan: it is read by editors alone
    new_folders = [part for part in (folder, *folder.absolute().parents) if not is_there(part)]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files = SurveyFiles(boundary, tuple(dem), tuple(features), crs, dem_unit)
        text = plan_text(look(folder, files, units))
        with plan.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
        if not keep_schema:
            schema.write_text(schema_text(), encoding="utf-8", newline="\n")
    except FileExistsError:
        raise (_there_already(plan) if folder.is_dir() else _unwritable(folder, errno.ENOTDIR)) from None
    except OSError as error:
        for written in (plan, *(() if keep_schema else (schema,))):
            with contextlib.suppress(OSError):  # also where the name itself is what cannot be
                written.unlink()
        raise _unwritable(folder, error.errno) from error
    finally:
        if not is_there(plan):
            _remove_empty(new_folders)
    return plan


def _there_already(plan: Path) -> SetoutError:
    return SetoutError("there is a plan file already", str(plan), "name another folder, or move that file away")


def _unwritable(folder: Path, number: int | None) -> SetoutError:
    if number in (errno.ENOSPC, errno.EDQUOT):
        return Interrupted("there is no room left for the plan file", str(folder), "free some space and try again")
    reason = os.strerror(number) if number else "it cannot be written"
    return SetoutError(f"no plan file can be written here ({reason})", str(folder), "name another folder")


def _remove_empty(folders: Sequence[Path]) -> None:
    """Remove the folders made for nothing, the innermost first."""
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return
