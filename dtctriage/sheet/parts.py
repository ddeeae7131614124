"""What every part of the sheet as data is made of."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


def _mend(value: object) -> object:
    """Put U+FFFD for half a surrogate pair, which a command line may hold and no encoding can write."""
    return re.sub("[\ud800-\udfff]", "\ufffd", value) if isinstance(value, str) else value


def _settle(value: object) -> object:
    """Keep four places, so that the order of a sum does not show."""
    return round(value, 4) if isinstance(value, float) else value


Text = Annotated[str, BeforeValidator(_mend)]
Share = Annotated[float, BeforeValidator(_settle), Field(ge=0, le=1)]


class Part(BaseModel):
    """A part of the sheet: complete, unchangeable, without unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, from_attributes=True)
