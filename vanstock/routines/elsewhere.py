"""What a day may lack and another van has: a hint on the load-out, when no store can give it.

Nothing is planned with it, since vans are apart and only people know when they meet. Called by `morning`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

from vanstock.ledger import catalogue, reading
from vanstock.routines.expiry import aged, not_expired
from vanstock.routines.loadout import Elsewhere
from vanstock.routines.past import Past
from vanstock.routines.session import Session

_VANS_ASKED = 6
"""Other vans whose own needs are worked out: more would keep somebody waiting for a hint."""


def in_other_vans(
    session: Session,
    past: Past,
    where: tuple[str, date],
    lacking: Sequence[str],
    needs_of: Callable[[str], Mapping[str, int]],
) -> tuple[Elsewhere, ...]:
    """For each group that a van may lack on a day, the other van that can spare most of it, one that holds most first;
    `needs_of` says what a van's own jobs may need that day, by group."""
    held = _held(session, past, where, set(lacking)) if lacking else {}
    own: dict[str, Mapping[str, int]] = {}
    found = []
    for group in lacking:
        offers = []
        for van, part, qty in held.get(group, ()):
            if van not in own and len(own) < _VANS_ASKED:
                own[van] = needs_of(van)
            if van in own:
                offers.append(Elsewhere(past.catalogue.parts[part], van, qty, max(qty - own[van].get(group, 0), 0)))
        if offers:
            found.append(max(offers, key=lambda one: one.spare))
    return tuple(sorted(found, key=lambda one: (-(one.spare > 0), one.van, one.part.part)))


def _held(
    session: Session, past: Past, where: tuple[str, date], lacking: set[str]
) -> dict[str, list[tuple[str, str, int]]]:
    """By group, (van, number, base units) of what can be used in other vans, the most first."""
    here, day = where
    vans = {place.place for place in catalogue.places(session.ledger, "van")} - {here}
    numbers = [part for part, group in past.groups.items() if group in lacking]
    rows = not_expired(reading.balances(session.ledger, numbers), aged(session, van=here), day) if vans else []
    found: dict[str, list[tuple[str, str, int]]] = {}
    for row in sorted(rows, key=lambda row: (-row.qty, row.place, row.part)):
        if row.place in vans and row.qty > 0:
            found.setdefault(past.groups[row.part], []).append((row.place, row.part, row.qty))
    return found
