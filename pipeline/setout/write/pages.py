"""The template engine of our pages, and text that may stand inside them."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import jinja2


def environment() -> jinja2.Environment:
    """Return the template engine for our pages: every text is escaped, every missing word is an error."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FunctionLoader(template_text),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


@cache
def template_text(name: str) -> str:
    """Return one file of ``templates``."""
    return (resources.files("setout.write") / "templates" / name).read_text("utf-8")


def script_json(value: object) -> str:
    r"""Write a value as JSON that may stand inside a script element: no text in it can end the element.

    Parameters
    ----------
    value : object
        Anything that JSON can say.

    Returns
    -------
    str
        The JSON.

    Raises
    ------
    ValueError
        The value holds NaN or infinity, which JSON cannot say.

    Examples
    --------
    >>> script_json({"a": "</script><!--"})
    '{"a":"\\u003c/script\\u003e\\u003c!--"}'
    """
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
