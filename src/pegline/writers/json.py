"""STEM.json: every result at full precision, for programs."""

from __future__ import annotations

import json
from pathlib import Path

from pegline.diagnosis.model import Survey
from pegline.writers.result import result
from pegline.writers.result_schema import Result

__all__ = ["json_text", "write"]


def write(survey: Survey, path: Path) -> None:
    """Write every result of a survey to ``path``."""
    path.write_text(json_text(result(survey)), encoding="utf-8", newline="\n")


def json_text(entries: Result) -> str:
    """Return results as JSON: one member of a table or a list to a line, so that two files compare line by line."""
    return "{\n" + ",\n".join(f"{_dump(key)}: {_block(value)}" for key, value in entries.items()) + "\n}\n"


def _block(value: object) -> str:
    if isinstance(value, dict) and any(isinstance(each, dict) for each in value.values()):
        return "{\n" + ",\n".join(f"  {_dump(key)}: {_dump(each)}" for key, each in value.items()) + "\n}"
    if isinstance(value, list) and value:
        return "[\n" + ",\n".join(f"  {_dump(each)}" for each in value) + "\n]"
    return _dump(value)


def _dump(value: object) -> str:
    # What is not finite has no JSON and never leaves: it would be a fault of ours.
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
