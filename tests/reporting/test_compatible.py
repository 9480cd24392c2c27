"""What reads today's reports goes on reading tomorrow's: every released schema is held against the present one."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from verifier.inspection import Inspection
from verifier.reporting import as_json

RELEASED = Path(__file__).parent / "released"
SCHEMAS = sorted(RELEASED.glob("*.schema.json"))
REPORTS = sorted(RELEASED.glob("*.report.json"))


def told(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8"))


def breaks(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    """What a reader of the old schema would miss in a report of the new one. New keys and new words are no break."""
    found = []
    for name, table in {"report": old, **old["$defs"]}.items():
        now = new if name == "report" else new["$defs"].get(name)
        if now is None:
            found.append(f"{name} is gone")
            continue
        for key, kind in table["properties"].items():
            if key not in now["properties"]:
                found.append(f"{name}.{key} is gone")
            elif shape(kind) != shape(now["properties"][key]):
                found.append(f"{name}.{key} is of another kind")
        found += [f"{name}.{key} may be left out" for key in set(table["required"]) - set(now["required"])]
    return found


def shape(kind: dict[str, Any]) -> Any:
    """The kind of a value without its remarks and without the words it may take."""
    if "anyOf" in kind:
        return sorted(str(shape(one)) for one in kind["anyOf"])
    inner = [shape(kind["items"])] if isinstance(kind.get("items"), dict) else [map(shape, kind.get("prefixItems", []))]
    return kind.get("type", kind.get("$ref", "word")), [list(each) if isinstance(each, map) else each for each in inner]


@pytest.mark.parametrize("schema", SCHEMAS, ids=lambda path: path.name)
def test_no_key_of_a_released_schema_is_lost_or_changed(schema: Path):
    assert breaks(told(schema), as_json.schema()) == []


@pytest.mark.parametrize("report", REPORTS, ids=lambda path: path.name)
def test_a_report_of_a_released_version_still_reads(report: Path):
    inspection = Inspection.model_validate_json(report.read_text(encoding="utf-8"))
    assert inspection.verdict == told(report)["verdict"]
    jsonschema.Draft202012Validator(told(report.with_name(report.name.replace("report", "schema")))).validate(
        told(report)
    )


def changed(path: tuple[str, ...], value: Any) -> dict[str, Any]:
    new = json.loads(json.dumps(as_json.schema()))
    table = new
    for key in path[:-1]:
        table = table[key]
    if value is None:
        del table[path[-1]]
    else:
        table[path[-1]] = value
    return new


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("$defs", "BoreTable"), None, "BoreTable is gone"),
        (("$defs", "SizeTable", "properties", "verdict"), None, "SizeTable.verdict is gone"),
        (("$defs", "SizeTable", "properties", "name"), {"type": "number"}, "SizeTable.name is of another kind"),
        (
            ("properties", "reasons"),
            {"type": "array", "items": {"type": "number"}},
            "report.reasons is of another kind",
        ),
    ],
)
def test_a_break_is_seen(path: tuple[str, ...], value: Any, said: str):
    assert said in breaks(as_json.schema(), changed(path, value))


def test_a_key_that_may_be_left_out_all_at_once_is_a_break():
    required = [key for key in as_json.schema()["required"] if key != "verdict"]
    assert breaks(as_json.schema(), changed(("required",), required)) == ["report.verdict may be left out"]
