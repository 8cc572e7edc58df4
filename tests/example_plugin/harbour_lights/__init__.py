"""Stages of the harbour museum of Merrowhithe."""

from __future__ import annotations

from ladderlight import hookimpl


@hookimpl
def ladderlight_contract() -> int:
    """Return the version of the contract that these stages were written for."""
    return 1


@hookimpl
def ladderlight_stages() -> list[str]:
    """Return the stages of this package."""
    return ["harbour_lights.dusk:dusk", "harbour_lights.lamps:lamps"]
