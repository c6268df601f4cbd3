"""The command `matwarden`. `cut` goes its own short way: it must work while nothing else does."""

from __future__ import annotations

import sys

__all__ = ["main"]


def main() -> int:
    """Carry out the command line of this process."""
    arguments = sys.argv[1:]
    if arguments[:1] == ["cut"]:
        from matwarden.cut import run

        return run(arguments[1:])
    if arguments[:1] == ["run"]:
        from matwarden.first_cut import cut_before_start

        cut_before_start(arguments[1:])
    from matwarden.main import main as everything_else

    return everything_else(arguments)
