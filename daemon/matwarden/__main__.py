"""`python -m matwarden`: the same as the command `matwarden`."""

from __future__ import annotations

from matwarden.entry import main

raise SystemExit(main())
