"""SAFETY.md, hardware/README.md and the drawing say what they must."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAFETY = (ROOT / "SAFETY.md").read_text(encoding="utf-8")
HARDWARE = (ROOT / "hardware" / "README.md").read_text(encoding="utf-8")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("document", [SAFETY, HARDWARE], ids=["SAFETY.md", "hardware/README.md"])
def test_nobody_can_think_that_this_was_tried_on_a_pi(document: str) -> None:
    """Both pages say that no real hardware was touched."""
    assert re.search(r"real hardware|physical Raspberry Pi", document)


def test_the_first_paragraph_of_safety_says_what_the_software_is_not() -> None:
    """A reader of one paragraph knows the most important thing."""
    first = SAFETY.split("\n\n")[1]
    assert "not a thermal cut-out" in first


@pytest.mark.parametrize(
    "word", ["local codes", "licensed electrician", "in series", "RCD", "fuse", "drip loop", "strain relief", "welded"]
)
def test_safety_names_the_usual_cautions(word: str) -> None:
    """Each layer and caution that a mat on the mains needs is named."""
    assert word.lower() in re.sub(r"\s+", " ", SAFETY).lower()


def test_the_drawing_stands_alone_and_inside_its_frame() -> None:
    """No outside reference, no script, and every text begins inside the view box."""
    root = ET.parse(ROOT / "hardware" / "wiring.svg").getroot()
    _, _, width, height = (float(number) for number in root.attrib["viewBox"].split())
    for element in root.iter():
        assert element.tag.startswith(SVG)
        assert element.tag not in (f"{SVG}script", f"{SVG}image", f"{SVG}style")
        assert not any(key.endswith("href") for key in element.attrib)
    texts = list(root.iter(f"{SVG}text"))
    assert len(texts) > 20
    for text in texts:
        assert 0 <= float(text.attrib["x"]) < width
        assert 0 < float(text.attrib["y"]) < height


def test_the_drawing_shows_each_part_of_the_power_path() -> None:
    """Supply, fuse, independent cut-out, relay contact and mat are all there, and that it was not tried."""
    words = " ".join("".join(text.itertext()) for text in ET.parse(ROOT / "hardware" / "wiring.svg").iter(f"{SVG}text"))
    for part in (
        "supply",
        "fuse",
        "independent cut-out",
        "COM",
        "NO",
        "mat on the",
        "RCD",
        "Not tried on real hardware",
    ):
        assert part in words
