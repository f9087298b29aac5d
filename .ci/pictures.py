"""Take the README's pictures of a planned demo with headless Chromium: its map, and the first page of its report."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

MAPS = Path(__file__).resolve().parents[1] / "maps"
MOST_BYTES = 250_000
PICTURES = {"map.html": "demo-map.png", "report.html": "demo-report.png"}


def main(results: Path) -> None:
    """Write maps/demo-map.png and maps/demo-report.png from the results of a plan."""
    with sync_playwright() as played:
        browser = played.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 800, "height": 560})
        for file, picture in PICTURES.items():
            page.goto((results / file).resolve().as_uri())
            page.wait_for_timeout(3000)
            page.screenshot(path=MAPS / picture)
            size = (MAPS / picture).stat().st_size
            if size >= MOST_BYTES:
                raise SystemExit(f"{picture} has {size:,} bytes, not less than {MOST_BYTES:,}")
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
