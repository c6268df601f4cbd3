"""Writes the demo's digest and Oak's report into the README, and their pictures beside the demo's settings."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from html import escape
from pathlib import Path

__all__ = [
    "BEGIN",
    "DATE",
    "END",
    "OAK_BEGIN",
    "OAK_END",
    "OAK_PICTURE",
    "PICTURE",
    "ROOT",
    "demo_digest",
    "oak_report",
    "run_demo",
]

ROOT = Path(__file__).resolve().parents[1]
PICTURE = ROOT / "config" / "demo-night.png"
# The night in which somebody unplugs Alder's mat.
DATE = "2026-01-18"
BEGIN = "<!-- morning: written by `make morning`, do not edit -->\n"
END = "<!-- end of morning -->\n"
OAK_PICTURE = ROOT / "config" / "demo-oak.png"
OAK_BEGIN = "<!-- oak: written by `make morning`, do not edit -->\n"
OAK_END = "<!-- end of oak -->\n"


def run_demo(out: Path) -> str:
    """Run the demo into `out`; what it printed."""
    words = [sys.executable, "-m", "matwarden", "demo", "--out", str(out)]
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout


def demo_digest(printed: str) -> str:
    """The digest of the night, out of what the demo printed."""
    text = printed.partition(f"--- digest of {DATE} ---\n")[2]
    return text.partition("\n\n")[0].rstrip("\n")


def oak_report(out: Path) -> str:
    """What the demo found of Oak, as it is kept."""
    (home,) = (out / "commissioned" / "oak").glob("*Z")
    return (home / "report.txt").read_text(encoding="utf-8").rstrip("\n")


def main() -> None:
    with tempfile.TemporaryDirectory() as directory:
        out = Path(directory) / "demo"
        digest = demo_digest(run_demo(out))
        shutil.copyfile(out / "pictures" / f"night-{DATE}.png", PICTURE)
        (home,) = (out / "commissioned" / "oak").glob("*Z")
        shutil.copyfile(home / "report.png", OAK_PICTURE)
        report = oak_report(out)
    _put(BEGIN, digest, END)
    _put(OAK_BEGIN, report, OAK_END)


def _put(begin: str, shown: str, end: str) -> None:
    readme = ROOT / "README.md"
    before, _, rest = readme.read_text(encoding="utf-8").partition(begin)
    after = rest.partition(end)[2]
    readme.write_text(f"{before}{begin}<pre>\n{escape(shown, quote=False)}\n</pre>\n{end}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
