"""The published JSON Schemas of reports."""

import json
from importlib import resources
from typing import Any


def schema(name: str = "report") -> Any:
    """``report.schema.json`` or ``diagnosis.schema.json``, as installed."""
    file = resources.files("verifier.reports").joinpath(f"{name}.schema.json")
    return json.loads(file.read_text("utf-8"))
