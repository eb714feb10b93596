"""Rates of nought, next to nothing and far too much: no number in any output is none."""

from __future__ import annotations

import json
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meshlint.report import as_json, junit, markdown, sarif, text, workings
from meshlint.report.lines import Look
from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues, load_site
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Workings

pytestmark = pytest.mark.slow


TODAY = date(2026, 11, 25)
RULES = shipped_rules()
CARDS = {card.id: card for card in RULES.cards}

LOADS = st.sampled_from((0, 0.3, 1))
RATES = st.sampled_from((0, 0.0, 1e-300, 1e-9, 1e-6, 0.1, 4, 90, 1_000_000))
MANY = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def radio(channel: int) -> dict:
    return {
        "band": 5,
        "channel": channel,
        "width_mhz": 40,
        "generation": "802.11ac",
        "streams": 2,
        "power_dbm": 20,
        "antenna_gain_dbi": 3,
        "lowest_basic_mbps": 6,
        "carries": ["clients", "backhaul"],
    }


def unit(at: int, channel: int = 36) -> dict:
    return {
        "routing_mbps": 900,
        "at": {"x_m": 9 * at, "y_m": 0},
        "radios": {"mid": radio(channel)},
        "ports": [{"count": 4, "rate_mbps": 1000}],
    }


@st.composite
def sites_with_rates(draw: st.DrawFn) -> dict:
    """Return a site of which all is stated that rates need, the rates anything that goes."""
    units = {name: unit(at) for at, name in enumerate(("desk", "hall", "loft", "barn", "shed"))}
    units["desk"]["routing_mbps"] = draw(RATES)
    media = st.sampled_from(("radio", "radio", "powerline", "coax", "cable"))
    backhaul = {}
    for name, beyond in (("hall", "desk"), ("loft", "hall"), ("barn", "loft"), ("shed", "desk")):
        link = {"from": name, "to": beyond, "over": draw(media)}
        if link["over"] != "radio" or draw(st.booleans()):
            link["measured_mbps"] = draw(RATES)
        backhaul[f"{name} up"] = link
    backhaul["spare"] = {"from": "barn", "to": "desk", "over": "radio", "role": "spare"}
    groups = {
        f"at {name}": {
            "count": draw(st.sampled_from((0, 1, 30, 1_000_000))),
            "near": name,
            "generation": "802.11ac",
            "streams": 2,
            "down_mbps": draw(RATES),
            "up_mbps": draw(RATES),
            "active_share": draw(st.sampled_from((0, 1e-300, 0.5, 1))),
            "use": draw(st.sampled_from(("data", "voice"))),
        }
        for name in ("hall", "barn", "shed")
    }
    return {
        "meshlint": 1,
        "site": {"name": "x", "country": "GB", "surroundings": "office"},
        "primary": "desk",
        "internet_lines": {
            "main": {"enters_at": "desk", "down_mbps": draw(RATES), "up_mbps": draw(RATES)}
        },
        "units": units,
        "backhaul": backhaul,
        "clients": groups,
        "networks": {"home": {"akm": "sae"}},
        "neighbours": [
            {"heard_at": "hall", "band": 5, "channel": 36, "level_dbm": -60, "load": draw(LOADS)}
        ],
        "readings": [{"link": "loft up", "throughput_mbps": draw(RATES), "taken": "2026-11-01"}],
    }


@MANY
@given(site=sites_with_rates())
def test_no_rate_brings_out_what_is_no_number(without_size, site):
    data = json.dumps(site, indent=1).encode()
    result = check_bytes(data, "a.site.yaml", RULES, Catalogues(), TODAY)
    assert result.problems == ()
    loaded, _ = load_site(data, "a.site.yaml", Catalogues())
    for report in (
        as_json.render([result]),
        sarif.render([result], CARDS),
        "".join(workings.as_json(Workings(loaded, TODAY), FACTS)),
        text.render([result], Look()),
        junit.render([result]),
        markdown.render([result]),
        "".join(workings.as_text(Workings(loaded, TODAY), FACTS)),
    ):
        assert without_size(report) == ""


@pytest.mark.parametrize("word", ["inf", "NaN", "-inf", "Infinity"])
def test_what_is_no_number_would_be_seen(without_size, word):
    assert without_size(f"takes ({word} %) of it") == word
    assert without_size("the information infers nanometres") == ""
