"""What every table of a `*.vehicle.toml` file is made of: names, pins, units, wires, places."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._/+-]*$")]
PinName = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]*:[A-Za-z0-9]+$")]
"""A connector and a pin in it: `X12:4`."""
OwnPin = Annotated[str, Field(pattern=r"^[A-Za-z0-9]{1,6}$")]
"""A pin of a component's own plug, which has no name of its own: `2`."""
Colour = Annotated[str, Field(max_length=40)]
"""Of a wire, as the diagram gives it: `violet/black`."""
Ohms = Annotated[float, Field(gt=0, le=1e9)]
Minutes = Annotated[float, Field(gt=0, le=600)]


class Strict(BaseModel):
    """A table of the file: unknown keys are errors, values do not change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Placed(Strict):
    """Something that has an id, a place and a price in minutes to get at."""

    id: Name
    name: str = ""
    place: str = ""
    minutes: Minutes | None = None
    """Time to reach and check it; None takes the default of its kind."""

    def called(self, noun: str) -> str:
        """`fuse F12`, but `starter relay fuse`: an id that ends in what it is stands for itself."""
        return self.id if self.id.endswith(f" {noun}") else f"{noun} {self.id}"


class Conductor(Strict):
    """A wire from an element, through connector pins in their order."""

    source: str = Field(alias="from")
    through: tuple[PinName, ...] = ()
    wire: Colour = ""
