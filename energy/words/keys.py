"""What can stand in a scenario file: rows of text and data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from energy.words.keys_model import KeyData


def key_rows(table: str) -> list[KeyData]:
    """Return the keys of one table of a scenario file as data."""
    from energy.scenario.defaults import FUEL_DEFAULTS
    from energy.scenario.keys import TABLES
    from energy.scenario.plausible import plausible_words
    from energy.words.keys_model import KeyData
    from vehicle.quantity import Spec, Uncertain

    rows = []
    for key, info in TABLES[table].model_fields.items():
        extra = info.json_schema_extra
        spec = extra.get("spec") if isinstance(extra, dict) else None
        default = None if info.is_required() else info.get_default(call_default_factory=True, validated_data={})
        text = default
        if isinstance(default, Uncertain) and isinstance(spec, Spec):
            text = spec.shown(default.value)
            if default.shape != "exact":
                text += f" ({spec.shown(default.low)} to {spec.shown(default.high)})"
        by_fuel = FUEL_DEFAULTS.get(f"{table}.{key}")
        if by_fuel and isinstance(spec, Spec):
            text = ", ".join(f"{fuel} {spec.shown(value.value)}" for fuel, (value, _) in by_fuel.items())
        rows.append(
            KeyData(
                key=key,
                meaning=info.description or "",
                written=spec.accepted().partition(", such as ")[2] if isinstance(spec, Spec) else "",
                required=info.is_required(),
                default=text if text is None or isinstance(text, (str, bool)) else str(text),
                source=spec.source if isinstance(spec, Spec) else "",
                plausible=plausible_words(spec) if isinstance(spec, Spec) else "",
            )
        )
    return rows


def as_data(rows: Mapping[str, list[KeyData]]) -> dict[str, Any]:
    """Return the keys by table as data for `--json`."""
    from energy.words.keys_model import KeysData

    return dict(KeysData(dict(rows)).model_dump())


def key_words(entry: KeyData) -> str:
    """Return what is to be said of a key, as text."""
    text = entry.meaning
    if entry.written:
        text += f"; such as {entry.written}"
    if entry.plausible:
        text += f"; plausible {entry.plausible}"
    if entry.required:
        return text + ". Required."
    if entry.default not in (None, ""):
        default = str(entry.default).lower() if isinstance(entry.default, bool) else entry.default
        text += f". Default {default}"
        text += f" ({entry.source})" if entry.source else ""
    return text + "."
