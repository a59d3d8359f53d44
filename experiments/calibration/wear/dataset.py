"""A plan of wear as labelled data: what each finger bears."""
from __future__ import annotations

from typing import Any

from calibrate.wear import FingerAccount

UNITS = {
    "turns": ("1", "turns under pressure"), "pressed_h": ("h", "under pressure in total"),
    "longest_h": ("h", "under pressure without a break"), "shortest_rest_h": ("h", "least rest between two turns"),
    "load_mmHg_h": ("mmHg h", "pressure-time integral"),
}


def wear_dataset(accounts: tuple[FingerAccount, ...], attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `finger`, with units; rest is infinite for a finger with one turn only."""
    import xarray

    data = {name: ("finger", [getattr(account, name) for account in accounts], {"units": unit, "long_name": meaning})
            for name, (unit, meaning) in UNITS.items()}
    return xarray.Dataset(data, {"finger": [account.finger + 1 for account in accounts]}, attributes)
