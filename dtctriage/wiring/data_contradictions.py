"""What data tables cannot say: fields outside their data, and two layouts for one number."""

from __future__ import annotations

from dtctriage.wiring.problems import Problems, no_such
from dtctriage.wiring.profile import Profile


def data_contradictions(profile: Profile) -> Problems:
    """Each problem with the path of its entry."""
    modules = [module.id for module in profile.module]
    for table, key in (("data", "did"), ("extended", "record")):
        seen: set[tuple[str, int]] = set()
        for index, item in enumerate(getattr(profile, table)):
            number = getattr(item, key)
            called = f"{table} {number:0{4 if key == 'did' else 2}X}"
            for name in item.modules:
                if name not in modules:
                    yield f"{called}: {no_such('module', name, modules)}", (table, index, "modules")
            for module in filter(item.is_in, modules):
                if (module, number) in seen:
                    yield f"{called}: {module} has it already", (table, index, key)
                    break
                seen.add((module, number))
            for place, signal in enumerate(item.signal):
                last = signal.byte + (1 if signal.bit is not None else signal.size)
                if last > item.size:
                    text = f'{called}: "{signal.name}" ends at byte {last - 1}, the data at {item.size - 1}'
                    yield text, (table, index, "signal", place)
