"""POST /act: one act from a phone, recorded once however often it is sent, and answered in words or by a page.

Which act does what is in `acts`. A refusal says that trying again will not help; anything that may pass is 503, so that
the phone keeps the act.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from vanstock.errors import BadValue, EntryConflict, LedgerUnusable, VanstockError
from vanstock.routines.session import refuse_clock_set_back
from vanstock.web.acts import ACTS, NEEDED
from vanstock.web.copying import daily_copy
from vanstock.web.desk import Answer, Desk
from vanstock.web.guard import wants_json
from vanstock.web.render import fields_of, new_id

if TYPE_CHECKING:
    from vanstock.routines.session import Session

OLDEST = timedelta(days=14)
JUST_NOW = timedelta(minutes=1)
_ID = re.compile(r"[0-9A-Za-z-]{8,64}")
_PATH = re.compile(r"/(?!/)[0-9A-Za-z._~%!$&'()*+,;=:@/-]*")
_SECONDS = re.compile(r"[0-9]{1,9}")
_WORD = re.compile(r"[0-9A-Za-z._~%=+-]+")
_LONGEST = 300
_LONGEST_LIST = 40_000
_STATUS = {"done": 200, "conflict": 409, "refused": 422, "later": 503}


class Acting:
    """The acts of a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def act(self, request: Request) -> Response:
        """Record one act, and answer the script or lead back to the page it came from."""
        try:
            fields = await fields_of(request)
        except HTTPException as wrong:
            if wrong.status_code == 413:
                raise
            answer = Answer("refused", str(wrong.detail))
            fields = {}
        else:
            answer = await run_in_threadpool(self.answer, request.scope["device"], fields)
        if wants_json(request):
            return JSONResponse(_document(answer), _STATUS[answer.state])
        if answer.state == "done" and self.desk.answer_to(request.scope["device"], answer.entry):
            # The browser's own form sent twice, or sent again from an older page: a person has to see which it was.
            answer = answer._replace(words=f"{answer.words}\nnote: sent twice and recorded once")
        sent = fields.get("id", "")
        told_under = sent if _ID.fullmatch(sent) else new_id()
        self.desk.answered(request.scope["device"], told_under, answer)
        return RedirectResponse(_back(request, told_under), 303)

    def answer(self, device: str, fields: Mapping[str, str]) -> Answer:
        """Record the act that the fields ask for."""
        entry_id = fields.get("id", "")
        try:
            act = _checked(fields, entry_id)
            with self.desk.session(device, at=self._made(fields)) as session:
                _same_ledger(session, fields.get("ledger", ""))
                present = session._replace(now=self.desk.moment(), by_clock=self.desk.now is None)
                refuse_clock_set_back(present)  # an act that waited has its time from the clock as well
                words = ACTS[act](session, fields, entry_id)
                told = daily_copy(present)
        except EntryConflict as conflict:
            return Answer("conflict", str(conflict))
        except LedgerUnusable as trouble:
            self.desk.tell(f"{device}: not recorded yet: {trouble}")
            return Answer("later", str(trouble))
        except VanstockError as mistake:
            return Answer("refused", str(mistake))
        for line in (f"{device}: {words}", *told):
            self.desk.tell(line)
        return Answer("done", words, entry_id)

    def _made(self, fields: Mapping[str, str]) -> datetime | None:
        """When the act was made: so long ago as the phone says, for its clock may be wrong; else the time that it says;
        None when it did not say, when what it says cannot be, and for what was made just now."""
        now = self.desk.moment()
        waited = fields.get("waited", "")
        if _SECONDS.fullmatch(waited) and (age := timedelta(seconds=int(waited))) <= OLDEST:
            return now - age if age >= JUST_NOW else None
        try:
            made = datetime.fromisoformat(fields.get("made", ""))
            made = made.astimezone().replace(tzinfo=None) if made.tzinfo else made
        except (ValueError, OverflowError, OSError):
            return None
        return made if now - OLDEST <= made <= now else None


def _same_ledger(session: Session, mark: str) -> None:
    """Raise `BadValue` for an act that was made on a page of another ledger than this one."""
    from vanstock.routines.today import ledger_mark

    if mark and mark != ledger_mark(session):
        raise BadValue(
            "this was tapped on a page of another ledger than the one that is open now: open that one and send it "
            "again, or drop it"
        )


def _checked(fields: Mapping[str, str], entry_id: str) -> str:
    act = fields.get("act", "")
    if act not in ACTS:
        raise BadValue(f"{act[:40]!r} is no act: open the page again")
    if not _ID.fullmatch(entry_id):
        raise BadValue("the act has no id: open the page again")
    for name in NEEDED[act]:
        if not fields.get(name, "").strip():
            raise BadValue(f"{name} is missing: fill it in")
    for name, value in fields.items():
        if len(value) > (_LONGEST_LIST if name == "lines" else _LONGEST):
            raise BadValue(f"{name[:40]} is too long")
    return act


def _document(answer: Answer) -> dict[str, object]:
    if answer.state == "done":
        return {"state": "done", "said": answer.words, "entry": answer.entry, "undo": True}
    return {"state": "later" if answer.state == "later" else "refused", "why": answer.words}


def _back(request: Request, answer_id: str) -> str:
    """The page that the form was on, by the browser's word, as a path of ours and nothing else; with its answer."""
    came = urlsplit(request.headers.get("referer", ""))
    own = came.netloc.lower() == request.headers.get("host", "").lower() and bool(_PATH.fullmatch(came.path))
    path = came.path if own and came.path != "/act" else "/"
    kept = [word for word in came.query.split("&") if own and _WORD.fullmatch(word) and word[:7] != "answer="]
    return f"{path}?{'&'.join([*kept, f'answer={answer_id}'])}"
