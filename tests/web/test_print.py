"""The page to print: the one that `vanstock loadout --print` writes, whose style alone the policy lets pass."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from base64 import b64encode
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import Firm
from vanstock.web.guard import policy

ROOT = Path(__file__).parents[2]


def test_it_is_the_page_that_the_terminal_writes(firm: Firm, phone: TestClient, tmp_path: Path) -> None:
    shown = phone.get("/print?date=2027-03-01&van=van")
    words = [sys.executable, "-m", "vanstock", "--ledger", str(firm.ledger), "--now", "2027-03-01T07:30"]
    file = tmp_path / "loadout.html"
    subprocess.run([*words, "loadout", "--print", str(file)], cwd=ROOT, check=True, capture_output=True)
    assert shown.headers["content-type"] == "text/html; charset=utf-8"
    assert shown.content == file.read_bytes()


@pytest.mark.parametrize("path", ["/", "/load", "/?date=2027-03-02", "/load?date=2027-03-02"])
def test_the_pages_of_a_day_lead_to_it(phone: TestClient, path: str) -> None:
    link = re.search(r'href="(/print\?[^"]*)"', phone.get(path).text)
    assert link
    day = "2027-03-02" if "date" in path else "2027-03-01"
    assert link[1] == f"/print?date={day}&amp;van=van"
    assert phone.get(link[1].replace("&amp;", "&")).status_code == 200


def test_only_its_own_style_sheet_passes_by_its_hash(phone: TestClient) -> None:
    answer = phone.get("/print")
    sheets = re.findall(r"<style>(.*?)</style>", answer.text, re.DOTALL)
    assert len(sheets) == 1
    wanted = f"'sha256-{b64encode(hashlib.sha256(sheets[0].encode()).digest()).decode()}'"
    allowed = answer.headers["content-security-policy"]
    assert f"style-src 'self' {wanted};" in allowed
    assert allowed.replace(f" {wanted}", "") == phone.get("/").headers["content-security-policy"]
    assert "unsafe" not in allowed
    assert " style=" not in answer.text


def test_a_text_without_a_style_sheet_has_the_strictest_policy() -> None:
    assert policy("<p>&lt;style&gt;p { color: red }&lt;/style&gt;") == policy()
    assert "sha256" not in policy()


@pytest.mark.parametrize(("path", "status"), [("/print?date=x", 422), ("/print?van=x", 404)])
def test_a_mistake_is_told_on_a_page_of_ours(phone: TestClient, path: str, status: int) -> None:
    answer = phone.get(path)
    assert answer.status_code == status
    assert "That did not work" in answer.text
