"""Writes the demo's digest into the README and its picture beside the demo's settings: `make morning`."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from html import escape
from pathlib import Path

__all__ = ["BEGIN", "DATE", "END", "PICTURE", "ROOT", "demo_digest", "run_demo"]

ROOT = Path(__file__).resolve().parents[1]
PICTURE = ROOT / "config" / "demo-night.png"
# The night in which somebody unplugs Alder's mat.
DATE = "2026-01-18"
BEGIN = "<!-- morning: written by `make morning`, do not edit -->\n"
END = "<!-- end of morning -->\n"


def run_demo(out: Path) -> str:
    """Run the demo into `out`; what it printed."""
    words = [sys.executable, "-m", "matwarden", "demo", "--out", str(out)]
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout


def demo_digest(printed: str) -> str:
    """The digest of the night, out of what the demo printed."""
    text = printed.partition(f"--- digest of {DATE} ---\n")[2]
    return text.partition("\n\n")[0].rstrip("\n")


def main() -> None:
    with tempfile.TemporaryDirectory() as directory:
        out = Path(directory) / "demo"
        digest = demo_digest(run_demo(out))
        shutil.copyfile(out / "pictures" / f"night-{DATE}.png", PICTURE)
    readme = ROOT / "README.md"
    before, _, rest = readme.read_text(encoding="utf-8").partition(BEGIN)
    after = rest.partition(END)[2]
    readme.write_text(f"{before}{BEGIN}<pre>\n{escape(digest, quote=False)}\n</pre>\n{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
