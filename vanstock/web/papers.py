"""What `serve --tls` shows phones: the certificate for the names and addresses of now, kept right while it runs.

A hotspot may give this computer another address at any time, so what it is reached by is looked at again and again. Not
the certificates themselves (`certificates`) nor where they are kept (`authority`). Called by `cli.serve`.
"""

from __future__ import annotations

import ssl
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from vanstock.errors import VanstockError
from vanstock.web.addresses import LOOPBACK, in_url, only, own_names
from vanstock.web.authority import About, Authority, Leaf


class Papers:
    """The certificate of one server, for `names` and the address `host` that it was asked to have (a wildcard asks for
    none) and for whatever addresses `look` finds; `tell` is told what changes."""

    def __init__(
        self, ledger: Path, host: str, port: int, names: Sequence[str], *, anew: bool,
        look: Callable[[], Sequence[str]], tell: Callable[[str], None],
    ) -> None:  # fmt: skip
        """Make the certificate, and the authority where there is none or another is wanted (`anew`).

        Raises `BadValue` for names that cannot be had, and for an authority that is of no use.
        """
        self._authority, self._port, self._look, self._tell = Authority(ledger), port, look, tell
        self._asked = [name.lower() for name in (*names, *only(host))]
        self._trouble = ""
        self.made = anew or not self._authority.exists()
        if self.made:
            own = own_names()
            self._authority.make(self._asked, own, own[0], datetime.now(UTC))
        self.leaf: Leaf = self._current()

    def about(self) -> About:
        """What there is to know of the authority."""
        return self._authority.about(datetime.now(UTC))

    def vouches_for(self, host: str) -> bool:
        """Whether the certificate is for this name or address."""
        return host.lower() in self.leaf.hosts

    def renew(self, context: ssl.SSLContext) -> None:
        """Have a running server use another certificate where it is time to.

        Called between two requests by the thread that takes new connections.
        """
        before = self.leaf
        try:
            self.leaf = self._current()
            if self.leaf.serial != before.serial:
                context.load_cert_chain(self.leaf.file)
        except (VanstockError, OSError) as error:
            self.leaf = before
            if self._trouble != str(error):
                self._tell(f"note: the certificate for https cannot be renewed: {error}")
            self._trouble = str(error)
            return
        self._trouble = ""
        for host in self.leaf.hosts:
            if host not in before.hosts:
                self._tell(f"now also at https://{in_url(host)}:{self._port}")

    def _current(self) -> Leaf:
        return self._authority.leaf(
            self._port, self._asked, [*self._look(), *own_names(), *LOOPBACK], datetime.now(UTC)
        )
