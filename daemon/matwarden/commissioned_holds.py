"""Where commissioned tubs are kept, and what a mat was found to hold: on the standard library alone.

`commissioned.py` reads all of it and needs the analysis libraries for that. This much is for what is made without them.
"""

from __future__ import annotations

import json
from pathlib import Path

from matwarden.core.tonight import Holds

__all__ = ["COMMISSIONED", "FOUND", "holds_of"]

# In the directory of the record: one directory a tub, in it one for each time, in it the numbers.
COMMISSIONED = "commissioned"
FOUND = "tub.json"


def holds_of(directory: Path, enclosure: str) -> Holds | None:
    """Of a tub's newest commissioning; None: there is none, it cannot be read, or it did not find out.

    Args:
        directory: of the record.
    """
    found = sorted((directory / COMMISSIONED / enclosure).glob(f"*Z/{FOUND}"))
    if not found:
        return None
    try:
        document = json.loads(found[-1].read_text(encoding="utf-8"))
        room = document["findings"]["coldest_room"]
        return Holds(float(document["band_c"][0]), float(room["low"]), float(room["high"]))
    except (KeyError, OSError, TypeError, ValueError, IndexError):
        # Whoever judges what became of the tub says that its file is damaged; here there is only less to tell.
        return None
