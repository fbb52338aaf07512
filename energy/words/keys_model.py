"""The keys of a scenario file as data."""

from __future__ import annotations

from pydantic import Field, RootModel

from energy.words.result_model import ResultModel, said


class KeyData(ResultModel):
    """One key of a table."""

    key: str = said("the key")
    meaning: str = said("what it states")
    written: str = said("how it may be written")
    required: bool = said("whether it must be there")
    default: str | bool | None = said("what is used without it, with its range; null where there is none")
    source: str = said("where the default comes from")
    plausible: str = said("range outside which a value is refused unless `unusual` names the key; empty for none")


class KeysData(RootModel[dict[str, list[KeyData]]]):
    """The keys by table."""

    root: dict[str, list[KeyData]] = Field(description="the keys of each table, by its name")
