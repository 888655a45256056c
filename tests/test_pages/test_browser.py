"""The attempt page in a real browser: drawn without network, and on A4 paper."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from test_records.waivers import a_waiver

from batchtest.nouns import Outcome, Waiver
from batchtest.pages import attempt_page
from test_pages.examples import lines, record

CHROMIUM = shutil.which("chromium")
QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
]
#: A4 in points, as a PDF says it.
A4 = (595, 842)

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Debian's package chromium")


def printed(tmp_path: Path, page: str) -> bytes:
    """A page printed to PDF by the browser."""
    html, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    html.write_text(page)
    command = [str(CHROMIUM), *QUIET, f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={pdf}", html.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    return pdf.read_bytes()


@pytest.mark.parametrize(
    ("outcome", "logic_V", "waivers"),
    [
        pytest.param(Outcome.PASS, 5.0, (), id="pass"),
        pytest.param(Outcome.FAIL, 5.251, (), id="fail"),
        pytest.param(Outcome.FAIL, 5.251, (a_waiver(number=1), a_waiver(number=2)), id="under-two-waivers"),
    ],
)
def test_a_page_prints_on_a_few_sheets_of_a4(
    tmp_path: Path, outcome: Outcome, logic_V: float, waivers: tuple[Waiver, ...]
):
    """Paper size is A4 whatever the browser's default, and a whole attempt fits a few sheets."""
    cause = None if outcome is Outcome.PASS else "logic @ load point 1: 5.2510 V is 51.0 mV above the upper bound 5.2 V"
    pdf = printed(tmp_path, attempt_page(record(outcome, cause, lines=lines(logic_V), waivers=waivers)))
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert {(round(float(width)), round(float(height))) for width, height in boxes} == {A4}
    assert 1 <= len(boxes) <= 4
