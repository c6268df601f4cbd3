"""What the models of all tables are made of: patterns, common types, common manners."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

ID = r"^[a-z0-9]([a-z0-9-]*[a-z0-9])?$"
TEXT = r"^[^\x00-\x1f\x7f]*[^\x00-\x20\x7f][^\x00-\x1f\x7f]*$"
FILE_PATH = r"^[^\x00]+$"
TIME_OF_DAY = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"
INSTANT = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z$"
ONE_WIRE = r"^28-[0-9a-fA-F]{12}$"
I2C = r"^(0x|[0-9]{1,3}-00)[0-7][0-9a-fA-F]$"
GPIO_CHIP = r"^/dev/gpiochip[0-9]+$"
PLACE = r"^(room|[a-z0-9]([a-z0-9-]*[a-z0-9])?/(wall|air|substrate))$"
HOST = r"^[^\x00-\x20/@]+$"

Id = Annotated[str, Field(pattern=ID, max_length=64)]
Text = Annotated[str, Field(pattern=TEXT, max_length=60)]
FilePath = Annotated[str, Field(pattern=FILE_PATH)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Role = Literal["air", "wall", "substrate", "room"]


class Row(BaseModel):
    """Common manners: exact types, no unknown key, each key judged on its own when assigned."""

    model_config = ConfigDict(extra="forbid", strict=True, validate_assignment=True)
