"""Look: what all pages share, their templates and pictures carried inside."""

from __future__ import annotations

import base64

import jinja2


def template(name: str) -> jinja2.Template:
    """A page of this folder by its name; a word that it lacks is an error, not a gap."""
    room = jinja2.Environment(
        loader=jinja2.PackageLoader("lightcheck.report", "."),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    return room.get_template(name)


def address(picture: bytes | None, kind: str = "png") -> str | None:
    """A picture as an address within the page, None where there is none."""
    if picture is None:
        return None
    return f"data:image/{kind};base64,{base64.b64encode(picture).decode()}"
