"""This computer's own authority: whom it vouches for, held against two verifiers that are not ours.

RFC 5280 says what a certificate and a name constraint mean (4.2.1.9, 4.2.1.10). Paths are verified by OpenSSL (through
the standard library, as a client in memory or on a real line) and by the verifier of the package cryptography.
"""

from __future__ import annotations

import hashlib
import http.client
import ipaddress
import json
import os
import re
import ssl
import stat
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import ExtendedKeyUsageOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from hypothesis import given
from hypothesis import strategies as st

from tests.cli.conftest import Said, typed
from tests.web.conftest import Firm
from tests.web.test_serve import a_server, free_port
from vanstock.errors import BadValue, LedgerUnusable, NotFound
from vanstock.web import certificates
from vanstock.web.authority import Authority, Leaf
from vanstock.web.papers import Papers

NOW = datetime(2027, 3, 1, 7, 30, tzinfo=UTC)
PORT, VAN, ADDRESS = 8040, "van.local", "192.168.43.17"
OWN = (ADDRESS, "203.0.113.9", "laptop", "laptop.local", "localhost", "127.0.0.1", "::1")  # one is public: RFC 5737


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    """An authority made for van.local."""
    made = Authority(tmp_path / "firm.db")
    made.make([VAN], OWN, "laptop", NOW)
    return made


def leaf(authority: Authority, *asked: str, own: tuple[str, ...] = OWN, now: datetime = NOW) -> Leaf:
    return authority.leaf(PORT, asked or (VAN,), own, now)


def held(leaf: Leaf) -> x509.Certificate:
    return x509.load_pem_x509_certificate(leaf.file.read_bytes())


def verified(certificate: x509.Certificate, authority: x509.Certificate, host: str) -> None:
    """That the package cryptography finds a path from the authority to a certificate for a host."""
    subject = x509.IPAddress(ipaddress.ip_address(host)) if certificates.is_address(host) else x509.DNSName(host)
    builder = PolicyBuilder().store(Store([authority])).time(certificate.not_valid_before_utc + timedelta(days=2))
    builder.build_server_verifier(subject).verify(certificate, [])


def shaken(server: ssl.SSLContext, pem: bytes, host: str) -> x509.Certificate:
    """What a client that trusts `pem` alone is shown by a server, in memory; raises what OpenSSL does."""
    client = ssl.create_default_context(cadata=pem.decode())
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    phone = client.wrap_bio(to_client, to_server, server_hostname=host)
    laptop = server.wrap_bio(to_server, to_client, server_side=True)
    for side in (phone, laptop, phone):
        try:
            side.do_handshake()
        except ssl.SSLWantReadError:
            continue
    told = phone.getpeercert(binary_form=True)
    assert told
    return x509.load_der_x509_certificate(told)


def serving(pair: certificates.Pair, folder: Path) -> ssl.SSLContext:
    file = folder / "serving.pem"
    file.write_bytes(certificates.as_pem(pair))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(file)
    return context


@pytest.mark.parametrize("host", [VAN, "laptop.local", "localhost", ADDRESS, "127.0.0.1", "::1"])
def test_what_is_served_is_vouched_for(authority: Authority, host: str) -> None:
    made = leaf(authority)
    assert host in made.hosts
    verified(held(made), x509.load_der_x509_certificate(authority.about(NOW).der), host)


@pytest.mark.parametrize("host", ["other.local", "192.168.43.18"])
def test_a_certificate_is_for_no_other_name(authority: Authority, host: str) -> None:
    with pytest.raises(VerificationError):
        verified(held(leaf(authority)), x509.load_der_x509_certificate(authority.about(NOW).der), host)


@pytest.mark.parametrize(
    "host", ["bank.example", "local", "xvan.local", "van.local.example", "203.0.113.9", "2001:db8::1"]
)
def test_whoever_steals_its_key_cannot_vouch_for_what_lies_outside(tmp_path: Path, host: str) -> None:
    now = datetime.now(UTC)
    stolen = certificates.make_authority([VAN], "laptop", now)
    forged = certificates.make_leaf(stolen, [host], now)
    with pytest.raises(VerificationError):
        verified(forged.certificate, stolen.certificate, host)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shaken(serving(forged, tmp_path), stolen.certificate.public_bytes(Encoding.PEM), host)
    assert not certificates.may_vouch(stolen.certificate, host)


def test_another_authority_of_the_same_name_is_not_trusted(tmp_path: Path) -> None:
    now = datetime.now(UTC)
    ours, theirs = (certificates.make_authority([VAN], "laptop", now) for _ in range(2))
    server = serving(certificates.make_leaf(theirs, [VAN], now), tmp_path)
    assert shaken(server, theirs.certificate.public_bytes(Encoding.PEM), VAN)
    with pytest.raises(ssl.SSLCertVerificationError):
        shaken(server, ours.certificate.public_bytes(Encoding.PEM), VAN)


def test_the_certificates_say_what_they_are_for(authority: Authority) -> None:
    issuer, own = x509.load_der_x509_certificate(authority.about(NOW).der), held(leaf(authority))
    for certificate, is_authority in ((issuer, True), (own, False)):
        limits = certificate.extensions.get_extension_for_class(x509.BasicConstraints)
        assert (limits.critical, limits.value.ca) == (True, is_authority)
        assert certificate.extensions.get_extension_for_class(x509.KeyUsage).critical
        purposes = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
        assert list(purposes) == [ExtendedKeyUsageOID.SERVER_AUTH]
        by = certificate.extensions.get_extension_for_class(x509.AuthorityKeyIdentifier).value
        assert by.key_identifier == issuer.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value.digest
        assert certificate.not_valid_before_utc == NOW - timedelta(days=1)  # a phone's clock may be behind
    assert issuer.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0
    assert issuer.extensions.get_extension_for_class(x509.NameConstraints).critical
    assert own.not_valid_after_utc - own.not_valid_before_utc < timedelta(days=398)  # the most that browsers take


@given(st.ip_addresses())
def test_no_address_that_is_reached_from_outside_is_private(address: ipaddress.IPv4Address) -> None:
    """By the registries of special-purpose addresses (IANA), as the standard library holds them."""
    assert not (certificates.is_private(str(address)) and address.is_global)


@pytest.mark.parametrize(
    ("host", "private"),
    [("10.1.2.3", True), ("172.31.255.255", True), ("172.32.0.0", False), ("169.254.1.1", True), ("fd00::1", True),
     ("fe80::1", True), ("100.64.0.1", False), ("0.0.0.0", False), ("2001:db8::1", False), (VAN, True),
     ("localhost", True), ("a.b.home.arpa", True), ("van.example", False), ("van", False), ("local", False),
     ("home.arpa", False), (".local", False), ("-.local", False), ("*.local", False), ("van..local", False)],
)  # fmt: skip
def test_only_names_and_addresses_of_the_own_network_are_private(host: str, private: bool) -> None:
    assert certificates.is_private(host) is private


def test_the_certificate_stays_until_it_nears_its_end_or_the_addresses_change(authority: Authority) -> None:
    first = leaf(authority)
    ends = held(first).not_valid_after_utc
    assert leaf(authority, now=ends - timedelta(days=31)) == first
    assert leaf(authority, own=OWN[::-1]).serial == first.serial
    renewed = leaf(authority, now=ends - timedelta(days=29))
    assert renewed.serial != first.serial
    assert held(renewed).not_valid_after_utc > ends
    moved = leaf(authority, own=("10.0.0.5",))
    assert (moved.hosts, moved.serial != renewed.serial) == ((VAN, "10.0.0.5"), True)
    ahead = leaf(authority, "pad.van.local", now=NOW + timedelta(days=9))
    assert (
        leaf(authority, "pad.van.local", now=NOW + timedelta(days=7)).serial != ahead.serial
    )  # the clock was set back


def test_an_address_that_names_its_interface_has_its_certificate_once(authority: Authority) -> None:
    first = leaf(authority, "fe80::1%eth0")  # RFC 4007, section 11: the zone means something on this computer alone
    verified(held(first), x509.load_der_x509_certificate(authority.about(NOW).der), "fe80::1")
    assert leaf(authority, "fe80::1%eth0").serial == first.serial


def test_near_the_end_of_the_authority_the_certificate_ends_with_it_and_is_not_made_again_and_again(
    authority: Authority,
) -> None:
    about = authority.about(NOW)
    late = about.ends - timedelta(days=3)
    last = leaf(authority, now=late)
    assert held(last).not_valid_after_utc == about.ends
    assert leaf(authority, now=late + timedelta(days=1)).serial == last.serial
    assert (about.ends_soon(late), about.ends_soon(NOW)) == (True, False)
    with pytest.raises(BadValue, match=r"was good until .*--new-authority"):
        leaf(authority, now=about.ends)


def test_a_broken_certificate_is_made_again_and_one_of_another_authority_too(authority: Authority) -> None:
    first = leaf(authority)
    first.file.write_bytes(first.file.read_bytes()[:300])
    second = leaf(authority)
    authority.make([VAN], OWN, "laptop", NOW)
    third = leaf(authority)
    assert len({first.serial, second.serial, third.serial}) == 3
    verified(held(third), x509.load_der_x509_certificate(authority.about(NOW).der), VAN)


@pytest.mark.parametrize("content", [b"", b"no certificate", "half", "another key", "no constraints"])
def test_a_broken_authority_is_told_and_not_replaced_by_itself(authority: Authority, content: bytes | str) -> None:
    file = authority.folder / "secret-authority.pem"
    good = file.read_bytes()
    other = certificates.as_pem(certificates.make_authority([VAN], "laptop", NOW))
    cut = good.index(b"-----BEGIN CERT")
    bad = {"half": good[: cut + 200], "another key": other[: other.index(b"-----BEGIN CERT")] + good[cut:],
           "no constraints": leaf(authority).file.read_bytes()}  # fmt: skip
    file.write_bytes(content if isinstance(content, bytes) else bad[content])
    with pytest.raises(BadValue, match=r"secret-authority\.pem is damaged .*--new-authority"):
        leaf(authority)
    assert file.read_bytes() != good


def test_without_an_authority_or_with_a_clock_before_it_that_is_told(authority: Authority, tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="vanstock serve --tls"):
        Authority(tmp_path / "other.db").about(NOW)
    with pytest.raises(BadValue, match=r"clock says 2020-01-01.*set the clock"):
        authority.about(datetime(2020, 1, 1, tzinfo=UTC))


def test_a_name_beside_the_authoritys_is_refused_and_a_new_one_takes_it(authority: Authority) -> None:
    assert leaf(authority, VAN, "pad.van.local").hosts[:2] == (VAN, "pad.van.local")
    with pytest.raises(BadValue, match=r"for van\.local, laptop\.local, localhost and .* not desk\.local.*--new-auth"):
        leaf(authority, "desk.local")
    before = authority.about(NOW).fingerprint
    authority.make(["desk.local"], OWN, "laptop", NOW)
    assert leaf(authority, "desk.local").hosts[0] == "desk.local"
    assert authority.about(NOW).fingerprint != before


@pytest.mark.parametrize("name", ["van.example", "van", "local", "203.0.113.9", "büro.local"])
def test_no_authority_is_made_for_a_public_name(authority: Authority, name: str) -> None:
    before = authority.about(NOW)
    with pytest.raises(BadValue, match="--certificate and --key"):
        authority.make([name], OWN, "laptop", NOW)
    assert authority.about(NOW) == before


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such bits")
def test_the_keys_are_for_their_owner_alone(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        made = Authority(tmp_path / "firm.db")
        made.make([VAN], OWN, "laptop", NOW)
        leaf(made)
    finally:
        os.umask(before)
    assert made.folder == tmp_path / "firm.db.authority"
    assert stat.S_IMODE(made.folder.stat().st_mode) == 0o700
    assert sorted(file.name for file in made.folder.iterdir()) == ["secret-authority.pem", "secret-server-8040.pem"]
    assert {stat.S_IMODE(file.stat().st_mode) for file in made.folder.iterdir()} == {0o600}


def test_a_folder_that_cannot_be_had_is_told(tmp_path: Path) -> None:
    (tmp_path / "firm.db.authority").write_text("a file")
    with pytest.raises(LedgerUnusable, match="cannot write to"):
        Authority(tmp_path / "firm.db").make([VAN], OWN, "laptop", NOW)


def test_a_running_server_follows_the_address_that_a_hotspot_gives_it(tmp_path: Path) -> None:
    here, told = [ADDRESS], list[str]()
    papers = Papers(tmp_path / "firm.db", "0.0.0.0", PORT, [VAN], anew=False, look=lambda: here, tell=told.append)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(papers.leaf.file)
    pem = papers.about().pem
    first = shaken(context, pem, ADDRESS)
    papers.renew(context)
    assert shaken(context, pem, VAN) == first
    here[:] = ["172.20.10.2"]
    with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
        shaken(context, pem, "172.20.10.2")
    papers.renew(context)
    assert shaken(context, pem, "172.20.10.2") != first
    assert told == ["now also at https://172.20.10.2:8040"]
    (tmp_path / "firm.db.authority" / "secret-authority.pem").write_text("broken")
    for _ in range(3):
        papers.renew(context)
    assert [line.partition(":")[0] for line in told[1:]] == ["note"]
    assert shaken(context, pem, VAN)


def fingerprint_in(printed: str) -> str:
    return ":".join(re.findall("[0-9A-F]{2}(?::[0-9A-F]{2}){15}", printed))


Type = Callable[[str], Said]


@pytest.fixture
def type_in(firm: Firm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Type:
    """Types a command line on the small firm's ledger, in this process."""
    return lambda line: typed(line, firm.ledger, "2027-03-01T07:30", monkeypatch, capsys)


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ("--tls --certificate x.pem --key x.pem", "leave out --certificate and --key, or --tls"),
        ("--new-authority", "give both"),
        ("--tls --name bank.example", "'bank.example' is none: end it in .local"),
        ("--tls --name van", "'van' is none: end it in .local"),
    ],
)
def test_what_cannot_be_had_is_told_in_one_line_and_nothing_is_made(
    firm: Firm, type_in: Type, words: str, why: str
) -> None:
    said = type_in(f"serve --port {free_port()} {words}")
    assert (said.code, said.out) == (1, "")
    assert why in said.err
    assert said.err.count("\n") == 1
    assert not firm.ledger.with_name("firm.db.authority").exists()


def test_authority_shows_what_a_phone_must_show_and_writes_it_once(firm: Firm, type_in: Type, tmp_path: Path) -> None:
    assert type_in("authority").err.startswith("vanstock: there is no authority beside this ledger yet")
    Authority(firm.ledger).make([VAN], OWN, "laptop", datetime.now(UTC))
    shown = type_in("authority")
    assert (shown.code, shown.err) == (0, "")
    assert max(map(len, shown.out.splitlines())) <= 80
    document = json.loads(type_in("authority --json").out)
    assert document["names"] == [VAN, "laptop.local", "localhost"]
    files = [tmp_path / name for name in ("a.crt", "a.CER", "a.pem")]
    for file in files:
        assert type_in(f"authority --file {file}").code == 0
    ders = {files[0].read_bytes(), files[1].read_bytes(), ssl.PEM_cert_to_DER_cert(files[2].read_text())}
    assert {hashlib.sha256(der).hexdigest() for der in ders} == {document["sha256"].replace(":", "").lower()}
    assert fingerprint_in(shown.out) == document["sha256"]
    assert "there is a file" in type_in(f"authority --file {files[0]}").err
    assert "must end in .crt" in type_in(f"authority --file {tmp_path / 'a.txt'}").err
    assert "cannot write" in type_in(f"authority --file {tmp_path / 'none' / 'a.crt'}").err


class Running(NamedTuple):
    """The port of `vanstock serve --tls`, and where it prints."""

    port: int
    out: Path

    def line(self, context: ssl.SSLContext) -> http.client.HTTPSConnection:
        return http.client.HTTPSConnection("127.0.0.1", self.port, timeout=20, context=context)


@pytest.fixture
def running(firm: Firm, tmp_path: Path) -> Iterator[Running]:
    out = tmp_path / "printed"
    with a_server(firm, out, "--tls", "--name", "Van.test") as port:
        yield Running(port, out)


@pytest.mark.slow
def test_a_client_that_trusts_the_authority_alone_pairs_over_a_real_line(
    firm: Firm, running: Running, type_in: Type, tmp_path: Path
) -> None:
    printed = running.out.read_text()
    assert f"serving at https://Van.test:{running.port}\nalso at https://127.0.0.1:{running.port}\n" in printed
    type_in(f"authority --file {tmp_path / 'a.pem'}")
    trusting = ssl.create_default_context(cafile=tmp_path / "a.pem")
    line = running.line(trusting)
    line.request("GET", "/authority.crt")
    answer = line.getresponse()
    der = answer.read()
    assert (answer.status, answer.headers["content-type"]) == (200, "application/x-x509-ca-cert")
    assert hashlib.sha256(der).hexdigest().upper() == fingerprint_in(printed).replace(":", "")
    line.request("GET", "/pair")
    assert b'href="/authority.crt"' in line.getresponse().read()
    code = type_in("device add").out[:9]
    home = f"https://127.0.0.1:{running.port}"
    headers = {"Origin": home, "Content-Type": "application/x-www-form-urlencoded"}
    body = urlencode({"code": code, "name": "Kim"})
    line.request("POST", "/pair", body, {**headers, "Origin": home.replace("https", "http")})
    answer = line.getresponse()
    assert (answer.status, b"page of vanstock" in answer.read()) == (403, True)
    line.request("POST", "/pair", body, headers)
    answer = line.getresponse()
    answer.read()
    cookie = answer.headers["set-cookie"]
    assert (answer.status, cookie.startswith(f"__Host-vanstock_{running.port}=")) == (303, True)
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=strict"} <= set(cookie.split("; "))
    token = cookie.partition(";")[0].partition("=")[2]
    for name, status in ((f"vanstock_{running.port}", 303), (f"__Host-vanstock_{running.port}", 200)):
        line.request("GET", "/", headers={"Cookie": f"{name}={token}"})
        answer = line.getresponse()
        assert (answer.status, answer.read() != b"") == (status, status == 200)
    line.close()
    nobody = running.line(ssl.create_default_context())
    with pytest.raises(ssl.SSLCertVerificationError):
        nobody.request("GET", "/pair")
    plain = http.client.HTTPConnection("127.0.0.1", running.port, timeout=20)
    plain.request("GET", "/pair")
    with pytest.raises((http.client.HTTPException, OSError)):
        plain.getresponse()
    plain.close()
    assert running.out.read_text().removeprefix(printed).splitlines()[1:] == []  # "paired: Kim" and no more
