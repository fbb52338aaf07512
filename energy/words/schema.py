"""JSON Schemas of what the commands print with --json, made from the models that fill it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from energy.words import loads_model
from energy.words.answer_model import AnswerData
from energy.words.balance_model import BalanceData
from energy.words.begin_model import BeginData, ExampleData
from energy.words.call_sheet_model import CallSheetData
from energy.words.check_model import CheckData
from energy.words.coastdown_model import CoastDownData
from energy.words.curves_model import CurvesData
from energy.words.evidence import EvidenceData
from energy.words.fit_model import FirstCapacityData, FitLoadData
from energy.words.heat_model import HeatData
from energy.words.join_model import JoinData
from energy.words.keys_model import KeysData
from energy.words.match_model import MatchData
from energy.words.payback_model import PaybackData
from energy.words.pitch_model import TruePitchData
from energy.words.plan_model import PlanData
from energy.words.read_model import ReadData
from energy.words.reconcile_model import ReconcileData
from energy.words.record_model import RecordingData
from energy.words.road_test_model import CompareData
from energy.words.shortfall_model import ShortfallData
from energy.words.size_model import SizeData
from energy.words.tune_model import TuneData

# The command, with the option that changes its form where there is one.
COMMANDS: Mapping[str, type[BaseModel]] = {
    "begin": BeginData,
    "answer": AnswerData,
    "match": MatchData,
    "payback": PaybackData,
    "reconcile": ReconcileData,
    "shortfall": ShortfallData,
    "size": SizeData,
    "curves": CurvesData,
    "loads": loads_model.LoadsData,
    "loads --ladder": loads_model.LadderData,
    "loads --electrical": loads_model.ElectricalSideData,
    "loads --pitch-system": loads_model.PitchSystemData,
    "loads --bearing": loads_model.BearingsData,
    "loads --root": loads_model.BladeRootData,
    "balance": BalanceData,
    "truepitch": TruePitchData,
    "tune": TuneData,
    "callsheet": CallSheetData,
    "heat": HeatData,
    "plan": PlanData,
    "record": RecordingData,
    "join": JoinData,
    "read": ReadData,
    "compare": CompareData,
    "fit coastdown": CoastDownData,
    "fit load": FitLoadData,
    "fit load --reading": FirstCapacityData,
    "evidence": EvidenceData,
    "check": CheckData,
    "keys": KeysData,
    "example": ExampleData,
}


def schema_of(command: str) -> dict[str, Any]:
    """Return the JSON Schema of a command's JSON."""
    return COMMANDS[command].model_json_schema(mode="serialization")
