"""The JSON Schema of the settings file, for editors. `python -m matwarden.settings.schema FILE` writes it."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from matwarden.settings.rows import SettingsFile

_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of the settings file."""
    made = _without_null(SettingsFile.model_json_schema())
    return {"$schema": _DIALECT, **made, "title": "Settings of matwarden"}


def schema_text() -> str:
    """The schema as it is kept in a file."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


def _without_null(node: Any) -> Any:
    """The same schema without null, which TOML cannot write, and without titles made of key names."""
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {}
    for key, value in node.items():
        # A key of the file may itself be called title or default: those hold a schema, never a plain value.
        if key in ("title", "default") and not isinstance(value, dict) and (key == "title" or value is None):
            continue
        kept[key] = _without_null(value)
    options = [option for option in kept.get("anyOf", ()) if option != {"type": "null"}]
    if len(options) == 1:
        del kept["anyOf"]
        kept = {**options[0], **kept}
    return kept


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(schema_text(), encoding="utf-8")
