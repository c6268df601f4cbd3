"""SAFETY.md, hardware/README.md and the drawing say what they must, and their commands exist."""

from __future__ import annotations

import re
import shlex
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from matwarden.cli import parser

ROOT = Path(__file__).resolve().parents[2]
SAFETY = (ROOT / "SAFETY.md").read_text(encoding="utf-8")
HARDWARE = (ROOT / "hardware" / "README.md").read_text(encoding="utf-8")
SVG = "{http://www.w3.org/2000/svg}"

# Commands of the system's own that a keeper types; each stands in a step marked as needing the hardware.
OTHERS = (
    "python3 -m venv ",
    "/opt/matwarden/bin/pip install ",
    "useradd --system ",
    "install -",
    "systemctl ",
    "dtparam=",
    "dtoverlay=",
)


def _steps() -> list[tuple[str, list[str]]]:
    """Each numbered step with the lines of its fenced block."""
    steps = re.split(r"^(?=\d+\. )", HARDWARE.split("## Steps")[1].split("\n## ")[0], flags=re.M)[1:]
    blocks = [re.findall(r"```\n(.*?)```", step, flags=re.S) for step in steps]
    return [
        (step, [line.strip() for block in found for line in block.splitlines() if line.strip()])
        for step, found in zip(steps, blocks, strict=True)
    ]


def _matwarden_lines() -> list[str]:
    lines = [line for _, block in _steps() for line in block]
    return [line for line in lines if re.match(r"(/opt/matwarden/bin/)?matwarden ", line)]


@pytest.mark.parametrize("line", _matwarden_lines())
def test_every_matwarden_command_of_the_page_is_one(line: str) -> None:
    """What a keeper is told to type is understood."""
    words = shlex.split(line)[1:]
    parser().parse_args(words)


def test_every_other_command_of_the_page_is_known_and_marked() -> None:
    """A step with a command that no test can run says that it needs the hardware."""
    for step, block in _steps():
        others = [line for line in block if line not in _matwarden_lines()]
        for line in others:
            assert line.startswith(OTHERS), line
            assert "*(needs the hardware)*" in step, line


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
