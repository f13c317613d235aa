"""The published JSON Schemas of reports."""

import json
from functools import cache
from importlib import resources
from typing import Any

from jsonschema import Draft202012Validator


def schema(name: str = "report") -> Any:
    """``report.schema.json`` or ``diagnosis.schema.json``, as installed."""
    file = resources.files("verifier.reports").joinpath(f"{name}.schema.json")
    return json.loads(file.read_text("utf-8"))


@cache
def validator(name: str = "report") -> Draft202012Validator:
    """What checks a document; the schema itself is checked in tests/reports/test_machine.py."""
    return Draft202012Validator(schema(name))
