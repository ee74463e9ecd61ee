"""The phone over `vanstock serve --tls`: paired by hand, then the computer goes away and comes back.

Chromium takes the server's key as trusted by its switch for that; that the authority vouches for it is checked in
tests/web/test_authority.py, and that a browser without the switch refuses it, here.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Browser, Error, Page, expect

from tests.browser.conftest import NAME, Laptop
from tests.browser.hand import GASKET, JOB, answers, figure, kept, kinds, press, waiting
from tests.browser.test_pages import has_no_fault

pytestmark = pytest.mark.slow
CONTROLLED = """() => new Promise((done) => {
  const { serviceWorker } = navigator;
  if (serviceWorker.controller) done(true);
  else serviceWorker.addEventListener("controllerchange", () => done(true));
})"""


@pytest.fixture(scope="module")
def safe(served: Laptop) -> Iterator[Laptop]:
    """The demo firm's ledger served with --tls."""
    laptop = Laptop(served.fresh, "--tls")
    laptop.start()
    yield laptop
    laptop.kill()


@pytest.fixture
def trusting(safe: Laptop, launch: Callable[..., Browser]) -> Iterator[Page]:
    """A page in a browser that trusts the server's key."""
    (file,) = safe.ledger.with_name(f"{safe.ledger.name}.authority").glob("secret-server-*.pem")
    key = x509.load_pem_x509_certificate(file.read_bytes()).public_key()
    digest = hashlib.sha256(key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).digest()
    browser = launch(f"--ignore-certificate-errors-spki-list={base64.b64encode(digest).decode()}")
    yield browser.new_context(base_url=f"https://{NAME}:{safe.port}").new_page()
    browser.close()


def test_a_browser_that_was_not_told_to_trust_the_authority_refuses(safe: Laptop, chromium: Browser) -> None:
    page = chromium.new_page()
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(f"https://{NAME}:{safe.port}/pair")
    page.close()


def test_pages_open_without_the_computer_and_acts_made_meanwhile_arrive(
    safe: Laptop, trusting: Page, pictures: Path
) -> None:
    from vanstock.web.devices import Devices

    trusting.goto(f"/pair?code={Devices(safe.ledger).new_code()}")
    expect(trusting.get_by_role("link", name="Its certificate")).to_be_visible()
    has_no_fault(trusting, pictures / "pair-https")
    trusting.get_by_label("A name for this phone").fill("phone of Kim")
    trusting.get_by_role("button", name="Pair").click()
    expect(trusting.get_by_role("heading", level=1)).to_contain_text("Today")
    (cookie,) = trusting.context.cookies()
    assert (cookie["name"], cookie["secure"], cookie["httpOnly"]) == (f"__Host-vanstock_{safe.port}", True, True)
    assert trusting.evaluate(CONTROLLED)
    trusting.goto(f"/job/{JOB}")

    safe.kill()
    trusting.goto("/")
    expect(trusting.locator("main")).to_contain_text("out of reach: this page was seen at")
    trusting.locator(f"a[href='/job/{JOB}']").click()
    expect(trusting.locator("[data-old]")).to_be_visible()
    press(trusting, "fit", GASKET)
    expect(waiting(trusting)).to_contain_text("1 act waiting")
    trusting.reload()
    expect(waiting(trusting)).to_contain_text("1 act waiting")
    expect(figure(trusting, GASKET, f"on {JOB}")).to_have_text("1")

    safe.start()
    trusting.evaluate("() => { window.dispatchEvent(new Event('online')); }")
    expect(answers(trusting)).to_contain_text(GASKET)
    expect(trusting.locator("[data-old]")).to_have_count(0)
    assert (kept(trusting), kinds(safe.ledger)) == ([], ["fitted"])
