"""POST /scan: a photo of a label or barcode leads to the part's card on the page that it was sent from.

The photo is held in memory while it is looked at, one at a time, and never written anywhere. What is in it, and which
part that is, is found in `routines.scan`.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple
from urllib.parse import quote, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from vanstock.errors import BadValue, LedgerUnusable, VanstockError
from vanstock.web.desk import Answer, Desk
from vanstock.web.guard import PHOTO_BYTES, wants_json
from vanstock.web.render import new_id, plain_fields

if TYPE_CHECKING:
    from vanstock.routines.session import Session

_MOST_AT_ONCE = 4
_LONGEST_FIELD = 300
_MOST_FIELDS = 6


class _Found(NamedTuple):
    """What a photo was answered, and the part that it shows (empty: none)."""

    answer: Answer
    part: str = ""


class _InMemory(MultiPartParser):
    """A form whose file stays in memory, since the whole body may be no larger than this."""

    spool_max_size = PHOTO_BYTES


class Scanning:
    """The photos sent to a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._coming = 0
        self._one_at_a_time = threading.Lock()

    async def scan(self, request: Request) -> Response:
        """Find the part in a photo, and answer the script or lead to the part's card."""
        with self._room_for_one():
            fields, photo = await _received(request)
            device = request.scope["device"]
            found, page = await run_in_threadpool(self._look, device, fields, photo)
        answer_id = new_id()
        self.desk.answered(device, answer_id, found.answer)
        spot = "#found" if found.part and page.startswith("/job/") else ""
        page = f"{_with(page, q=found.part, answer=answer_id)}{spot}"
        if not wants_json(request):
            return RedirectResponse(page, 303)
        if found.part:
            document = {"state": "found", "part": found.part, "said": found.answer.words, "page": page}
            return JSONResponse(document)
        later = found.answer.state == "later"
        return JSONResponse({"state": "unread", "why": found.answer.words}, 503 if later else 422)

    @contextmanager
    def _room_for_one(self) -> Iterator[None]:
        """A place among the few photos that are held at once; raises `HTTPException` when there is none."""
        if self._coming >= _MOST_AT_ONCE:
            raise HTTPException(503)
        self._coming += 1
        try:
            yield
        finally:
            self._coming -= 1

    def _look(self, device: str, fields: Mapping[str, str], photo: bytes) -> tuple[_Found, str]:
        """What the photo shows, and the page to show it on; raises `NotFound` for a job that there is not."""
        from vanstock.routines import scan as routine

        with self.desk.session(device) as session:
            page = _page(session, fields)
        try:
            if not photo:
                raise BadValue("no photo was sent: choose or take one first")
            with self._one_at_a_time:
                codes = routine.read_photo(photo)
            with self.desk.session(device) as session:
                scanned = routine.part_meant(session, codes)
        except LedgerUnusable as trouble:
            return _Found(Answer("later", str(trouble))), page
        except VanstockError as mistake:
            return _Found(Answer("unread", str(mistake))), page
        return _Found(Answer("done", scanned.said), scanned.part.part), page


async def _received(request: Request) -> tuple[dict[str, str], bytes]:
    """The fields and the photo of a form; raises `HTTPException` for a form that is none. How long it may take
    is the door's."""
    parser = _InMemory(
        request.headers, request.stream(), max_files=1, max_fields=_MOST_FIELDS, max_part_size=_LONGEST_FIELD
    )
    try:
        form = await parser.parse()
    except MultiPartException:
        raise HTTPException(400) from None
    try:
        photos = [one for _, one in form.multi_items() if isinstance(one, UploadFile)]
        words = [(name, one) for name, one in form.multi_items() if isinstance(one, str)]
        return plain_fields(words), await photos[0].read() if photos else b""
    finally:
        await form.close()


def _page(session: Session, fields: Mapping[str, str]) -> str:
    """The address of the page that a photo came from: a job's, or the stock with its place, and the van chosen."""
    from vanstock.routines.naming import find_job

    if fields.get("job"):
        return _with(f"/job/{quote(find_job(session, fields['job']).job, safe='')}", van=fields.get("van", ""))
    return _with("/stock", place=fields.get("place", ""), van=fields.get("van", ""))


def _with(page: str, **more: str) -> str:
    """An address with more in its query, of what is not empty."""
    query = urlencode({name: value for name, value in more.items() if value}, quote_via=quote)
    return f"{page}{'&' if '?' in page else '?'}{query}" if query else page
