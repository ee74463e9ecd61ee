"""Certificates as values: an authority that can vouch for a few private names, and what it issues to this computer.

Profile: RFC 5280 (Internet X.509 certificates), section 4.2.1. The authority's name constraints (4.2.1.10) are critical
and list the names it was made for and the private, link-local and loopback networks, so that even with its key stolen
it vouches for no public site. Its extended key usage keeps it to servers. Reads no clock and no file: `authority` keeps
these and decides when to make another.
"""

from __future__ import annotations

import ipaddress
import re
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey, EllipticCurvePublicKey
    from cryptography.x509 import Certificate, CertificateBuilder, GeneralName, KeyUsage, SubjectAlternativeName

NETWORKS = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10",
            "::1/128")  # fmt: skip
"""Addresses that nobody reaches from outside: RFC 1918, 3927, 1122 (3.2.1.3), 4193 and 4291 (2.5.3, 2.5.6)."""
ENDINGS = ("local", "internal", "home.arpa", "test")
"""Endings that no public name has: RFC 6762, ICANN resolution 2024.07.29.06, RFC 8375, RFC 6761."""
LOCALHOST = "localhost"
AUTHORITY_DAYS = 1826
LEAF_DAYS = 90
RENEW_BEFORE = timedelta(days=30)
CLOCK_MARGIN = timedelta(days=1)
"""How far a phone's clock may be behind this computer's."""
_LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
_LONGEST_NAME = 253


class Pair(NamedTuple):
    """A certificate with its private key."""

    key: EllipticCurvePrivateKey
    certificate: Certificate


def is_address(host: str) -> bool:
    """Whether a host is written as an IP address."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def is_private(host: str) -> bool:
    """Whether a host is an address, or a name in small letters, that means nothing outside the own network.

    A name without an ending does not count: an authority for `van` could vouch for everything below it, and any word
    may become a public ending.
    """
    if is_address(host):
        return _is_in(host, NETWORKS)
    well_formed = len(host) <= _LONGEST_NAME and all(map(_LABEL.fullmatch, host.split(".")))
    return host == LOCALHOST or (well_formed and any(host.endswith(f".{ending}") for ending in ENDINGS))


def may_vouch(authority: Certificate, host: str) -> bool:
    """Whether an authority's name constraints permit a host (RFC 5280, 4.2.1.10: a name permits all below it)."""
    names, networks = permitted(authority)
    if is_address(host):
        return _is_in(host, networks)
    return any(host == name or host.endswith(f".{name}") for name in names)


def permitted(authority: Certificate) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The names and the networks that an authority may vouch for; raises `ValueError` where it is not so limited."""
    from cryptography import x509

    try:
        limits = authority.extensions.get_extension_for_class(x509.NameConstraints)
    except x509.ExtensionNotFound as missing:
        raise ValueError("no name constraints") from missing
    trees = limits.value.permitted_subtrees or []
    names = tuple(tree.value for tree in trees if isinstance(tree, x509.DNSName))
    return names, tuple(str(tree.value) for tree in trees if isinstance(tree, x509.IPAddress))


def make_authority(names: Iterable[str], label: str, now: datetime) -> Pair:
    """A new authority for these names and all private networks; `label` says to a person whose it is."""
    from cryptography import x509
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = _new_key()
    title = f"vanstock {label[:30]} {now:%Y-%m-%d} {secrets.token_hex(2)}"  # never two of one name in a phone
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, title)])
    trees: list[GeneralName] = [x509.DNSName(name) for name in dict.fromkeys((*names, LOCALHOST))]
    trees += [x509.IPAddress(ipaddress.ip_network(network)) for network in NETWORKS]
    own = key.public_key()
    builder = (
        _begun(own, now, now + timedelta(days=AUTHORITY_DAYS))
        .subject_name(subject)
        .issuer_name(subject)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.NameConstraints(permitted_subtrees=trees, excluded_subtrees=None), critical=True)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(own), critical=False)
    )
    return Pair(key, _signed(builder, key))


def make_leaf(authority: Pair, hosts: Iterable[str], now: datetime) -> Pair:
    """A certificate for the names and addresses under which this computer serves, from its authority."""
    from cryptography import x509
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key, issuer = _new_key(), authority.certificate
    ends = min(now + timedelta(days=LEAF_DAYS), issuer.not_valid_after_utc)
    identifier = issuer.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    builder = (
        _begun(key.public_key(), now, ends)
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "vanstock serve")]))
        .issuer_name(issuer.subject)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(_alternatives(hosts), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False
        )
    )  # fmt: skip
    return Pair(key, _signed(builder, authority.key))


def is_current(leaf: Pair, authority: Pair, hosts: Iterable[str], now: datetime) -> bool:
    """Whether a leaf is this authority's, for exactly these hosts, valid, and not soon to be renewed."""
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature

    certificate, issuer = leaf.certificate, authority.certificate
    try:
        certificate.verify_directly_issued_by(issuer)
        for_whom = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return False
    good_until = certificate.not_valid_after_utc
    renewing_helps = good_until < issuer.not_valid_after_utc
    latest = good_until - RENEW_BEFORE if renewing_helps else good_until
    return set(for_whom) == set(_alternatives(hosts)) and certificate.not_valid_before_utc <= now < latest


def as_pem(pair: Pair) -> bytes:
    """Key and certificate in one text, the form in which a server reads them."""
    from cryptography.hazmat.primitives import serialization as forms

    key = pair.key.private_bytes(forms.Encoding.PEM, forms.PrivateFormat.PKCS8, forms.NoEncryption())
    return key + pair.certificate.public_bytes(forms.Encoding.PEM)


def from_pem(text: bytes) -> Pair:
    """Key and certificate from one text; raises `ValueError` for one that does not hold both, or not of one another."""
    from cryptography import x509
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        key, certificate = load_pem_private_key(text, None), x509.load_pem_x509_certificate(text)
        fits = key.public_key() == certificate.public_key()
    except (TypeError, UnsupportedAlgorithm) as error:
        raise ValueError(str(error)) from error
    if not fits or not isinstance(key, EllipticCurvePrivateKey):
        raise ValueError("the key is not the certificate's")
    return Pair(key, certificate)


def _is_in(address: str, networks: Iterable[str]) -> bool:
    own = ipaddress.ip_address(address)
    return any(own in ipaddress.ip_network(network) for network in networks)


def _new_key() -> EllipticCurvePrivateKey:
    from cryptography.hazmat.primitives.asymmetric import ec

    return ec.generate_private_key(ec.SECP256R1())


def _begun(key: EllipticCurvePublicKey, now: datetime, ends: datetime) -> CertificateBuilder:
    from cryptography import x509

    return (
        x509.CertificateBuilder()
        .serial_number(x509.random_serial_number())
        .public_key(key)
        .not_valid_before(now - CLOCK_MARGIN)
        .not_valid_after(ends)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _signed(builder: CertificateBuilder, key: EllipticCurvePrivateKey) -> Certificate:
    from cryptography.hazmat.primitives.hashes import SHA256

    return builder.sign(key, SHA256())


def _usage(*, signs_certificates: bool) -> KeyUsage:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs_certificates, key_cert_sign=signs_certificates, crl_sign=signs_certificates,
        content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _alternatives(hosts: Iterable[str]) -> SubjectAlternativeName:
    from cryptography import x509

    def named(host: str) -> GeneralName:
        if not is_address(host):
            return x509.DNSName(host)
        return x509.IPAddress(ipaddress.ip_address(host.partition("%")[0]))  # no certificate says by which interface

    return x509.SubjectAlternativeName(map(named, hosts))
