"""`make winter`: the program over 33 recorded winter days in which the heating fails. Exit code 0: all holds."""

from __future__ import annotations

import sys
from pathlib import Path

if __name__ == "__main__":
    # As a script it stands in tests/winter; its parts are found from tests, as pytest finds them.
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    from winter.report import main

    raise SystemExit(main(Path.cwd() / "winter-run"))
