"""What a site has one of is a line of the summary, and no finding."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from builders import site
from meshlint.report import as_json, markdown, text
from meshlint.report.lines import Look

if TYPE_CHECKING:
    from collections.abc import Callable

    Check = Callable[..., Any]

BEHIND_ONE_SWITCH = site(
    {"hall": "radios: {}", "hub": "kind: switch", "barn": "radios: {}", "loft": "radios: {}"},
    {
        "hub": "from: hub, to: hall, over: cable",
        "barn": "from: barn, to: hub, over: cable",
        "loft": "from: loft, to: hub, over: cable",
    },
    "clients: {visitors: {count: 20, near: barn}}\n",
)
TWO = ("If hall fails, the whole site is offline.", "If switch hub fails, barn and loft are.")


def test_the_primary_and_a_switch_are_told_and_broken_by_no_rule(check_text: Check) -> None:
    result = check_text(BEHIND_ONE_SWITCH)
    assert result.single_points == TWO
    assert not [f for f in result.findings if f.rule == "one-failure"]
    told = " ".join(TWO)
    assert told in text.render([result], Look(width=100))
    assert told in " ".join(markdown.render([result]).split())
    assert list(TWO) == as_json_of(result)["single_points"]


def as_json_of(result: Any) -> Any:
    import json

    return json.loads(as_json.render([result]))["files"][0]


@pytest.mark.parametrize(
    ("links", "told"),
    [
        # A second way for the loft, and for both.
        ({"spare": "from: loft, to: hall, over: powerline, role: spare"}, "barn is."),
        (
            {
                "spare": "from: loft, to: hall, over: powerline, role: spare",
                "other": "from: barn, to: hall, over: powerline, role: spare",
            },
            "",
        ),
    ],
)
def test_only_what_has_no_other_way_goes_with_a_switch(
    check_text: Check, links: dict[str, str], told: str
) -> None:
    more = "".join(f"  {name}: {{{link}}}\n" for name, link in links.items())
    found = check_text(BEHIND_ONE_SWITCH.replace("clients:", f"{more}clients:")).single_points
    assert found[1:] == ((f"If switch hub fails, {told}",) if told else ())


def test_one_unit_and_many_sites_have_no_such_line(check_text: Check) -> None:
    assert check_text(site({"hall": "radios: {}"}, {})).single_points == ()
    several = [check_text(BEHIND_ONE_SWITCH)] * 2
    assert "offline" not in text.render(several, Look(width=100))
