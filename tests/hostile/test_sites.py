"""Sites that the schema takes: no stage fails on them, and nothing but the file decides."""

from __future__ import annotations

import json
import random
from datetime import date
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meshlint.report import as_json, junit, markdown, sarif, text, workings
from meshlint.report.lines import Look
from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues, load_site
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Workings

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.slow

TODAY = date(2026, 11, 25)
RULES = shipped_rules()
MANY = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def drawn(sites, seed: int, most_units: int = 4) -> bytes:
    return sites.as_yaml(sites.drawn_site(random.Random(seed), sites.site_schema(), most_units))  # noqa: S311


def no_number(word: str) -> None:
    message = f"{word} in a report"
    raise AssertionError(message)


@MANY
@given(choose=st.randoms(use_true_random=False))
def test_no_site_that_the_schema_takes_breaks_any_stage(sites, without_size, choose):
    data = sites.as_yaml(sites.drawn_site(choose, sites.site_schema(), 3))
    result = check_bytes(data, "a.site.yaml", RULES, Catalogues(), TODAY)
    assert result.problems == ()
    lines = data.decode().split("\n")
    for place in [f.place for f in result.findings] + [n.place for n in result.not_judged]:
        assert place.path == "a.site.yaml"
        assert 1 <= place.column <= len(lines[place.line - 1])
    json.loads(as_json.render([result]), parse_constant=no_number)
    cards = {card.id: card for card in RULES.cards}
    json.loads(sarif.render([result], cards), parse_constant=no_number)
    for shown in (
        text.render([result], Look()),
        junit.render([result]),
        markdown.render([result]),
    ):
        assert without_size(shown) == ""
    site, _ = load_site(data, "a.site.yaml", Catalogues())
    json.loads("".join(workings.as_json(Workings(site, TODAY), FACTS)), parse_constant=no_number)
    "".join(workings.as_text(Workings(site, TODAY), FACTS))


@pytest.mark.parametrize("seed", range(10))
def test_the_order_in_which_rules_are_asked_changes_nothing(sites, seed):
    data = drawn(sites, seed)
    cards = list(RULES.cards)
    random.Random(seed).shuffle(cards)  # noqa: S311
    mixed = type(RULES)(
        tuple(cards),
        {scope: tuple(c for c in cards if c.about == scope) for scope in RULES.by_scope},
        RULES.facts,
        RULES.language,
        RULES.limits,
    )
    plain = as_json.render([check_bytes(data, "a", RULES, Catalogues(), TODAY)])
    assert as_json.render([check_bytes(data, "a", mixed, Catalogues(), TODAY)]) == plain


@pytest.mark.parametrize("seed", range(10))
def test_every_place_that_a_report_names_is_in_the_file_and_begins_something(sites, seed):
    data = drawn(sites, seed, 6)
    result = check_bytes(data, "a.site.yaml", RULES, Catalogues(), TODAY)
    lines = data.decode().split("\n")
    places = [f.place for f in result.findings] + [n.place for n in result.not_judged]
    places += [other.place for finding in result.findings for other in finding.related]
    assert places
    for place in places:
        begins = lines[place.line - 1][place.column - 1 :]
        assert begins[:1] in {'"', "{", "[", "-", "t", "f", *"0123456789"}, (place, begins[:20])


def test_hash_seeds_workers_and_the_order_of_files_change_no_byte(meshlint, sites, tmp_path):
    names = []
    for seed in range(40):
        names.append(f"{seed:02}.site.yaml")
        (tmp_path / names[-1]).write_bytes(drawn(sites, seed))
    runs = (
        (names, "1", "0"),
        (names[::-1], "1", "1"),
        (names, "2", "2"),
        (["."], "2", "12345"),
    )
    outputs = set()
    for paths, jobs, seed in runs:
        words = ("--format", "json", "--no-cache", "--jobs", jobs)
        done = meshlint(tmp_path, "check", *paths, *words, env={"PYTHONHASHSEED": seed})
        assert done.returncode in (0, 1), done.stderr
        outputs.add(done.stdout)
    assert len(outputs) == 1


HEAD = {
    "meshlint": 1,
    "site": {"name": "x", "country": "GB", "surroundings": "office"},
    "primary": "u0",
}
RADIO = {
    "band": 5,
    "channel": 36,
    "width_mhz": 40,
    "power_dbm": 20,
    "antenna_gain_dbi": 3,
    "carries": ["clients", "backhaul"],
}
FLOOR = {"outline_m": [[0, 0], [10_000, 0], [10_000, 10_000], [0, 10_000]]}


def units(count: int, step_m: float, **radio) -> dict:
    return {
        f"u{at}": {
            "at": {"level": "g", "x_m": at * step_m, "y_m": 0},
            "radios": {"m": {**RADIO, **radio}},
        }
        for at in range(count)
    }


def chain(count: int) -> dict:
    return {
        f"l{at}": {"from": f"u{at}", "to": f"u{at + 1}", "over": "radio"} for at in range(count - 1)
    }


ABSURD = {
    "one place": {"units": units(120, 0.0), "levels": {"g": {}}, "backhaul": chain(120)},
    "a hair apart": {"units": units(30, 1e-300), "levels": {"g": {}}, "backhaul": chain(30)},
    "far apart": {"units": units(5, 20_000), "levels": {"g": {}}, "backhaul": chain(5)},
    "ten kilometres of floor": {"units": units(3, 9), "levels": {"g": FLOOR}},
    "a floor of no size": {
        "units": units(3, 9),
        "levels": {"g": {"outline_m": [[1, 1], [1, 1], [1, 1]]}},
    },
    "a floor that is a line": {
        "units": units(3, 9),
        "levels": {"g": {"outline_m": [[0, 0], [9, 0], [18, 0]]}},
    },
    "walls of no length": {
        "units": units(3, 9),
        "levels": {
            "g": {**FLOOR, "walls": [{"path_m": [[3, 3], [3, 3], [3, 3]], "loss_db": 5}] * 9}
        },
    },
    "walls under every unit": {
        "units": units(3, 9),
        "levels": {"g": {"walls": [{"path_m": [[-1, 0], [99, 0]], "loss_db": 300}] * 9}},
    },
    "negative powers": {"units": units(4, 9, power_dbm=-30), "levels": {"g": {}}},
    "great powers": {"units": units(4, 9, power_dbm=60), "levels": {"g": {}}},
    "links that carry nothing": {
        "units": units(3, 9),
        "levels": {"g": {}},
        "backhaul": {name: {**link, "measured_mbps": 0} for name, link in chain(3).items()},
        "clients": {"c": {"count": 1_000_000, "near": "u2", "down_mbps": 1_000_000}},
    },
    "links of no rate": {
        "units": units(4, 9),
        "levels": {"g": {}},
        "backhaul": {
            "l0": {"from": "u0", "to": "u1", "over": "cable", "rate_mbps": 0},
            "l1": {"from": "u1", "to": "u2", "over": "coax", "nominal_mbps": 0},
            "l2": {"from": "u2", "to": "u3", "over": "radio", "measured_mbps": 0},
            "l3": {"from": "u3", "to": "u0", "over": "cable", "tested_mbps": 0, "length_m": 0},
        },
        "cable_routes": [{"between": ["u1", "u3"], "state": "possible", "length_m": 0}],
        "internet_lines": {"i": {"enters_at": "u0", "down_mbps": 0, "up_mbps": 0}},
        "clients": {"c": {"count": 0, "near": "u3", "down_mbps": 0, "up_mbps": 0}},
    },
    "lines that bring nothing": {
        "units": units(2, 9),
        "levels": {"g": {}},
        "backhaul": chain(2),
        "internet_lines": {"i": {"enters_at": "u0", "down_mbps": 0}, "j": {"enters_at": "u1"}},
        "clients": {"c": {"count": 9, "near": "u1", "down_mbps": 5, "active_share": 0}},
    },
    "a million at one port": {
        "units": {"u0": {"ports": [{"count": 10_000}, {"count": 1}]}},
        "clients": {"c": {"count": 1_000_000, "wired_to": "u0"}},
    },
    "the poles": {
        "site": {**HEAD["site"], "place": {"latitude": 90, "longitude": -180}},
        "units": units(2, 9),
        "levels": {"g": {}},
    },
    "a thousand waivers": {
        "units": units(20, 9),
        "levels": {"g": {}},
        "waivers": [{"rule": "hop-depth", "subject": f"units/u{at}"} for at in range(1000)],
    },
}


@pytest.fixture(scope="module")
def judged(meshlint, files_of, tmp_path_factory):
    folder: Path = tmp_path_factory.mktemp("absurd")
    for name, parts in ABSURD.items():
        (folder / f"{name}.site.yaml").write_text(json.dumps({**HEAD, **parts}))
    done = meshlint(folder, "check", "--format", "json", "--no-cache", "--jobs", "1")
    assert done.returncode in (1, 2), done.stderr[-500:]
    assert done.stderr == b""
    return files_of(done.stdout)


@pytest.mark.parametrize("name", ABSURD)
def test_absurd_sites_give_findings_or_clear_errors(judged, name):
    entry = judged[f"{name}.site.yaml"]
    assert entry["fault"] == ""
    assert entry["problems"] or entry["findings"] or entry["not_judged"]
