"""The database library without what it would load only because it is installed.

On import it looks for numpy and pandas and takes them where they are, as with matwarden[report]: 20 to 60 MB for good,
in a daemon that hands it none of their values. While it is imported they are not to be found; whoever needs them later
imports them as ever.
"""

from __future__ import annotations

import sys

__all__ = ["Database", "Migrations"]

_HIDDEN = [name for name in ("numpy", "pandas") if name not in sys.modules]
# None in place of a module makes its import fail: the documented meaning, see "The module cache" in Python's reference.
sys.modules.update(dict.fromkeys(_HIDDEN))  # type: ignore[arg-type]
try:
    from sqlite_utils import Database, Migrations
finally:
    for _name in _HIDDEN:
        del sys.modules[_name]
