"""A module's supply: its feeds from the battery, its box, its grounds."""

from __future__ import annotations

from dtctriage.wiring.drawing import symbols
from dtctriage.wiring.drawing.canvas import Canvas
from dtctriage.wiring.drawing.feeds import Pieces, module_lines, module_pin
from dtctriage.wiring.drawing.scenes import Inside, draw_box, draw_down
from dtctriage.wiring.drawing.tracks import Tree
from dtctriage.wiring.profile import Module, Profile


def draw_supply(profile: Profile, module: Module) -> Canvas:
    """The schematic of what feeds a module and where it returns to."""
    canvas, pieces = Canvas(), Pieces(profile)
    floors: list[list[Inside]] = []
    top = 0.0
    if module.supply:
        tree = Tree(
            [[*pieces.feed(item, module.id), module_pin(item.pin, item.wire)] for item in module.supply]
        )
        top = tree.height
        tree.draw(canvas, 0, 0, top)
        feeds = [
            Inside(column, ((f"{item.purpose} supply", False),), symbols.entering, joins_above=True)
            for column, item in zip(tree.columns, module.supply, strict=True)
        ]
        floors.append(feeds)
    buses = ((f"on bus {', '.join(module.buses)}", False), (f"works from {module.works_from:g} V", False))
    floors.append([Inside(0, (*module_lines(module), *buses))])
    below = [
        Inside(column, (("ground", False),), symbols.own_ground, joins_below=True)
        for column in range(len(module.ground))
    ]
    if below:
        floors.append(below)
    last = max(part.column for floor in floors for part in floor)
    end = draw_box(canvas, 0, top, (0, last), *floors)
    for column, item in enumerate(module.ground):
        # A ground's pins are listed from the ground's end.
        track = pieces.grounded(item.ground, item.through[::-1], item.wire)
        draw_down(canvas, 0, end, {column: [module_pin(item.pin, leaving=True), *track]})
    return canvas
