"""Pages from templates, and forms into plain words: what every page of the phone face shares."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse

from vanstock.quantity import format_money, format_qty, in_hundred, show_qty
from vanstock.routines.wording import percent
from vanstock.web.moving import brought, loading, takes, with_riders

if TYPE_CHECKING:
    from jinja2 import Environment

_SPACES = dict.fromkeys((0x9, 0xA, 0xD, 0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000), " ")
_MOST_FIELDS = 1000
_LONGEST_NAME = 100


@cache
def environment() -> Environment:
    """The templates, everything in them escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("vanstock.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip
    made.filters |= {"percent": percent, "in_hundred": in_hundred, "money": format_money, "add": _added}
    made.globals |= {"new_id": new_id, "show_qty": show_qty, "format_qty": format_qty, "takes": takes}
    made.globals |= {"riders_moved": with_riders, "brought": brought, "with_van": with_van, "loading": loading}
    return made


def _added(fields: Mapping[str, str], wanted: bool, name: str, value: str) -> Mapping[str, str]:
    """The fields of a form with one more, where it is wanted."""
    return {**fields, name: value} if wanted else fields


def new_id() -> str:
    """A fresh entry id, for a form that is sent without the script."""
    return secrets.token_hex(16)


def page(request: Request, name: str, context: Mapping[str, Any], *, status: int = 200) -> HTMLResponse:
    """A page from its template, which also knows where it is."""
    template = environment().get_template(f"{name}.html.j2")
    path, query = request.scope["path"], request.url.query
    here, device = f"{path}?{query}" if query else path, request.scope.get("device")
    own = {"here": here, "device": device, "top": None, "van_kept": van_asked(request) if status < 400 else ""}
    return HTMLResponse(template.render({**own, **context}), status)


def van_asked(request: Request) -> str:
    """The van that was chosen, as the address carries it from page to page; "" for the first."""
    return request.query_params.get("van", "")[:_LONGEST_NAME]


def with_van(address: str, van: str) -> str:
    """An address that keeps the van that was chosen."""
    return f"{address}{'&' if '?' in address else '?'}van={quote(van)}" if van else address


async def fields_of(request: Request) -> dict[str, str]:
    """The fields of a form, one value each, every kind of space a plain one; raises `HTTPException` for what cannot
    have been typed into it."""
    form = await request.form(max_files=0, max_fields=_MOST_FIELDS)
    return plain_fields((name, str(value)) for name, value in form.multi_items())


def plain_fields(items: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Fields as `fields_of` gives them, of a form that has been taken apart."""
    fields = {name: value.translate(_SPACES) for name, value in items}
    for name, value in fields.items():
        if not (name + value).isprintable():
            raise HTTPException(422, f"{name[:20]!r} holds a character that cannot be printed: type it without")
    return fields
