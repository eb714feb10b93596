"""The list of all facts comes subject by subject, and as JSON is one object all the same."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from meshlint.report.workings import as_json, as_text
from meshlint.workings.fact import STATED, Kind, fact

if TYPE_CHECKING:
    from collections.abc import Callable

SITE = "{meshlint: 1, site: {name: Two}, primary: a, units: {a: {}, b: {}}}"


def listed(worked: Callable[[str], Any], asked: list[str]) -> tuple[Any, Any]:
    """Return the workings of two units, and one fact that writes down of whom it is asked."""

    @fact("unit.itself", Kind.TEXT, "its name", source=STATED)
    def itself(_: Any, unit: Any) -> str:
        asked.append(unit.name)
        return unit.name

    return worked(SITE).workings, {"unit.itself": itself}


@pytest.mark.parametrize("form", [as_text, as_json])
def test_a_subject_is_written_before_the_next_is_worked_out(worked: Callable[[str], Any], form):
    asked: list[str] = []
    for part in form(*listed(worked, asked)):
        if "units/a" in part:
            break
    assert asked == ["a"]


def test_the_parts_of_json_make_one_object(worked: Callable[[str], Any]):
    text = "".join(as_json(*listed(worked, [])))
    found = json.loads(text)
    assert [(x["subject"], x["value"]) for x in found["facts"]] == [
        ("units/a", "a"),
        ("units/b", "b"),
    ]
    assert text == json.dumps(found, indent=2) + "\n"


def test_json_of_no_subject_is_an_object_too(worked: Callable[[str], Any]):
    text = "".join(as_json(*listed(worked, []), "units/nobody"))
    assert json.loads(text)["facts"] == []
    assert text == json.dumps(json.loads(text), indent=2) + "\n"
