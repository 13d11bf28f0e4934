"""What a runner waits at, a gate or a person's hours, in words, from the note beside its lock.

Pure. Light: `harness status` shows it and must start quickly.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any


def gates_json(waits: Mapping[str, Any] | None) -> dict[str, object] | None:
    """Return what a runner waits at, for JSON; None: it waits at nothing."""
    if waits is None:
        return None
    names = ("reading", "bound", "unit", "value", "why", "met", "opens_at")
    return {
        "since": waits["since"],
        "at": waits["at"],
        "gates": [{name: gate[name] for name in names} for gate in waits["gates"]],
        "person_from": waits.get("person_from"),
    }


def gate_words(gate: Mapping[str, Any]) -> str:
    """Return how one gate stands, and when it is foretold to open, as a person reads it."""
    asked = f"{gate['reading']} {gate['bound']}"
    if gate["value"] is None:
        return f"{asked}: not measured: {gate['why']}"
    now = f"{asked}: {_value(gate)} now"
    at = gate["opens_at"]
    if gate["met"]:
        return f"{now}, met; holds long enough at {_time(at)}"
    if at:
        return f"{now}, foretold to open at {_time(at)}"
    # Of nothing but a temperature is anything ever foretold.
    return f"{now}, nothing foretold yet" if gate["unit"] == "°C" else now


def waiting_words(waits: Mapping[str, Any]) -> str:
    """Return what is waited at, in one line."""
    if waits.get("person_from"):
        return f"waits since {_time(waits['since'])} for a person's hours: {person_words(waits)}"
    gates = "; ".join(gate_words(gate) for gate in waits["gates"])
    return f"waits at a gate since {_time(waits['since'])}: {gates}"


def person_words(waits: Mapping[str, Any]) -> str:
    """Return when a person may be asked: the plan's hours, and the instant they begin next."""
    at = waits["person_from"]
    return f"{waits['hours']}; the step is asked at {at[:10]} {_time(at)}"


def _value(gate: Mapping[str, Any]) -> str:
    value = gate["value"]
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.6g} {gate['unit']}".rstrip() if isinstance(value, float) else str(value)


def _time(instant: str) -> str:
    return f"{instant[11:19]} UTC"
