"""The README shows what the demo really makes: a digest and what it finds of a tub, and a picture of each."""

from __future__ import annotations

import json
import struct
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from morning import (
    BEGIN,
    DATE,
    END,
    OAK_BEGIN,
    OAK_END,
    OAK_PICTURE,
    PICTURE,
    ROOT,
    demo_digest,
    oak_report,
    run_demo,
)

README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """What it printed, and where its files are."""
    out = tmp_path_factory.mktemp("morning") / "demo"
    return run_demo(out), out


def shown(begin: str, end: str) -> str:
    return unescape(README.partition(begin)[2].partition(end)[0])


def test_the_readmes_digest_is_the_demos(demo: tuple[str, Path]) -> None:
    """Word for word: `make morning` writes it."""
    printed, out = demo
    digest = demo_digest(printed)
    assert len(digest.splitlines()) > 10
    assert shown(BEGIN, END) == f"<pre>\n{digest}\n</pre>\n"
    assert (out / "pages" / f"night-{DATE}.html").is_file()


def test_the_readmes_report_of_oak_is_the_demos(demo: tuple[str, Path]) -> None:
    """The same sentences; a last digit may differ from one processor's arithmetic to another's."""
    printed, out = demo
    report = oak_report(out)
    assert report in printed
    words, ours = (_words(text) for text in (shown(OAK_BEGIN, OAK_END), f"<pre>\n{report}\n</pre>\n"))
    assert len(ours) > 300
    assert [each for each in words if not isinstance(each, float)] == [
        each for each in ours if not isinstance(each, float)
    ]
    numbers, found = ([each for each in some if isinstance(each, float)] for some in (words, ours))
    assert found == pytest.approx(numbers, rel=0.05, abs=0.15)


def test_what_is_said_of_oak_is_true_of_it(demo: tuple[str, Path]) -> None:
    """Rise at full heat and a welded relay's end: the steady state of the demo's own conductances, solved by NumPy."""
    _, out = demo
    (home,) = (out / "commissioned" / "oak").glob("*Z")
    kept = json.loads((home / "tub.json").read_text(encoding="utf-8"))
    # Wall, air, substrate: config/demo.toml's [[twin]] of oak, and the twin's defaults for what it leaves out.
    joins, losses = {(0, 1): 0.9, (0, 2): 0.4, (1, 2): 0.6}, (0.15, 0.3, 0.2)
    matrix = np.diag(losses)
    for (i, j), joined in joins.items():
        matrix[i, i] += joined
        matrix[j, j] += joined
        matrix[i, j] -= joined
        matrix[j, i] -= joined
    wall_k, inside_k, _ = np.linalg.solve(matrix, np.array([7.0, 0.0, 0.0]))
    found, hottest_c = kept["findings"], kept["rooms"]["hottest_c"]
    for name, true in (
        ("rise_wall", wall_k),
        ("rise_inside", inside_k),
        ("welded_wall", hottest_c + wall_k),
        ("welded_inside", hottest_c + inside_k),
    ):
        assert found[name]["value"] == pytest.approx(true, abs=0.5), name
        # A probe in the room that reads a step too high is not known of.
        assert found[name]["low"] - 0.1 <= true <= found[name]["high"] + 0.1, name


@pytest.mark.parametrize("picture", [PICTURE, OAK_PICTURE])
def test_the_readmes_pictures_are_a_phones(picture: Path) -> None:
    """A PNG of 360 points' width at three pixels each (its header: the PNG specification, 11.2.2)."""
    assert f"]({picture.relative_to(ROOT)})" in README
    head = picture.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">I", head[16:20]) == (1080,)


def _words(text: str) -> list[str | float]:
    """Words as they are, and numbers as numbers, wherever the lines break."""
    made: list[str | float] = []
    for word in text.split():
        try:
            made.append(float(word.strip("(),:;.")))
        except ValueError:
            made.append(word)
    return made
