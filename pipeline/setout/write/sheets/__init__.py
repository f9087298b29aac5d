"""Plan sheets: what a crew takes to the field on paper, true to scale, each map georeferenced."""

from setout.write.sheets.book import Sheets, write_sheets

__all__ = ["Sheets", "write_sheets"]
