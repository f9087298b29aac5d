"""Files of others that the results hold: the map's script library and the sheets' font, each to the byte as it is known.

They come in packages of one file's worth. What is written into a map runs wherever the map is opened, so that another
file under the same name is refused.
"""

from __future__ import annotations

import hashlib
from importlib import metadata
from typing import Final

from setout.errors import SetoutError

LEAFLET: Final = "django-js-lib-leaflet"
FONT: Final = "fontpkg-fira-sans-condensed"
VERSIONS: Final = {LEAFLET: "1.9.4.1", FONT: "4.203"}
"""The releases that are asked for, and whose files have these sums."""
FOLDERS: Final = {LEAFLET: "js_lib_leaflet/static/js_lib_leaflet/", FONT: "fontpkg_fira_sans_condensed/files/"}
SHA256: Final = {
    # Leaflet 1.9.4; its makers give the same sums of script and style for pages that load them from elsewhere
    "leaflet.js": "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
    "leaflet.css": "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
    "images/layers.png": "1dbbe9d028e292f36fcba8f8b3a28d5e8932754fc2215b9ac69e4cdecf5107c6",
    "images/layers-2x.png": "066daca850d8ffbef007af00b06eac0015728dee279c51f3cb6c716df7c42edf",
    "images/marker-icon.png": "574c3a5cca85f4114085b6841596d62f00d7c892c7b03f28cbfa301deb1dc437",
    # Fira Sans Condensed 4.203
    "FiraSansCondensed-Regular.ttf": "c67609f14fc9d328442bfffcc31988b0f76e5575cf460fcc1f3dd8e4912fe257",
    "FiraSansCondensed-SemiBold.ttf": "5a9586bc549d557c415a6a3dc88658b1453d1df661edf811954ebd55776c01cd",
}


def carried(package: str, name: str) -> bytes:
    """Return a file out of a package that carries it."""
    remedy = f'pip install --force-reinstall "{package}=={VERSIONS[package]}"'
    try:
        # opened by its name, for it may lie in a tree that is no file system
        with open(str(metadata.distribution(package).locate_file(FOLDERS[package] + name)), "rb") as file:  # noqa: PTH123 - a distribution may give other paths than pathlib's
            data = file.read()
    except (metadata.PackageNotFoundError, OSError) as error:
        raise SetoutError(f"{name}, which the results need, cannot be read: {error}", package, remedy) from error
    if hashlib.sha256(data).hexdigest() != SHA256[name]:
        raise SetoutError(f"{name} is not the file that setout knows by this name", package, remedy)
    return data
