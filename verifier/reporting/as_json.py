"""The inspection as JSON, and its schema, which `python -m verifier.reporting.as_json` writes anew."""

import json
import math
import re
from pathlib import Path
from typing import Any

from verifier.inspection import Inspection

SCHEMA_FILE = Path(__file__).with_name("inspection.schema.json")

# Six decimals are a millionth of a millimetre and a ten-thousandth of a per cent of scale: below anything measured
# here, and enough that sums made from the report agree with its own figures.
DECIMALS = 6


def render(inspection: Inspection) -> str:
    """The report: keys in the schema's order, two spaces, figures to six decimals, null where there is no number."""
    return _text(_plain_figures(inspection.model_dump(mode="json", by_alias=True)))


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the report, made from the model."""
    made = Inspection.model_json_schema(by_alias=True, mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


def write_schema(path: Path = SCHEMA_FILE) -> None:
    """Write the schema for people and programs that read the reports."""
    path.write_text(_text(schema()), encoding="utf-8", newline="\n")


# Letters stay readable. What a terminal would obey and a reader not see is written as JSON's escapes: the controls that
# JSON itself lets through, and the marks that join lines or turn the direction of reading.
_UNSEEN = re.compile("[\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")


def _text(value: object) -> str:
    text = json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    return _UNSEEN.sub(lambda unseen: f"\\u{ord(unseen[0]):04x}", text)


def _plain_figures(value: Any) -> Any:
    """Round every figure; what is no number becomes null, for JSON has no word for it."""
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0 if math.isfinite(value) else None  # + 0.0 turns -0.0 into 0.0
    if isinstance(value, dict):
        return {key: _plain_figures(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_plain_figures(entry) for entry in value]
    return value


if __name__ == "__main__":
    write_schema()
