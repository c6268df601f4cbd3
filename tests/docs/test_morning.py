"""The README shows the digest that the demo really makes, and a picture of the same night."""

from __future__ import annotations

import struct
from html import unescape
from pathlib import Path

from morning import BEGIN, DATE, END, PICTURE, ROOT, demo_digest, run_demo


def test_the_readmes_digest_is_the_demos(tmp_path: Path) -> None:
    """Word for word: `make morning` writes it."""
    shown = (ROOT / "README.md").read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0]
    digest = demo_digest(run_demo(tmp_path / "demo"))
    assert len(digest.splitlines()) > 10
    assert unescape(shown) == f"<pre>\n{digest}\n</pre>\n"
    assert (tmp_path / "demo" / "pages" / f"night-{DATE}.html").is_file()


def test_the_readmes_picture_is_a_phones() -> None:
    """A PNG of 360 points' width at three pixels each (its header: the PNG specification, 11.2.2)."""
    assert f"]({PICTURE.relative_to(ROOT)})" in (ROOT / "README.md").read_text(encoding="utf-8")
    head = PICTURE.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">I", head[16:20]) == (1080,)
