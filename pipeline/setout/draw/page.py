"""The template engine of our pages, and text that may stand inside them."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    import jinja2


def environment() -> jinja2.Environment:
    """Return the template engine for our pages: every text is escaped, every missing word is an error."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FunctionLoader(template_text), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )


@cache
def template_text(name: str) -> str:
    """Return one file of ``templates``."""
    return (resources.files("setout.write") / "templates" / name).read_text("utf-8")


def as_text(value: str) -> str:
    r"""Write a text from a file so that it stays text in HTML and XML, in an element and in a quoted attribute.

    Characters that XML forbids become a question mark; blanks other than the plain one are written by their numbers,
    since an attribute of XML does not keep them else.

    >>> as_text('<a href="x">&\x00')
    '&lt;a href=&quot;x&quot;&gt;&amp;?'
    >>> as_text("it's\n")
    'it&#39;s&#10;'
    """
    allowed = "".join(
        c if c in "\t\n\r" or (c >= " " and c not in "\ufffe\uffff" and not "\ud800" <= c <= "\udfff") else "?" for c in value
    )
    return escape(allowed, {'"': "&quot;", "'": "&#39;", "\t": "&#9;", "\n": "&#10;", "\r": "&#13;"})


def script_json(value: object) -> str:
    r"""Write a value as JSON that may stand inside a script element: no text in it can end the element.

    >>> script_json({"a": "</script><!--"})
    '{"a":"\\u003c/script\\u003e\\u003c!--"}'
    """
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
