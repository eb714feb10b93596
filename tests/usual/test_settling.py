"""What usual ranges settle: the same answer for any ordinary equipment, and nothing else."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from meshlint.cli import cli
from meshlint.lint.engine import SiteRun
from meshlint.run import Checker, shipped_rules
from meshlint.site.load import Catalogues, load_site
from meshlint.usual.fillings import FILLINGS, Fillable, drawn, gaps_of
from meshlint.usual.ranges import RANGES
from meshlint.workings.site_workings import Workings

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult

DAY = date(2026, 11, 25)

TWO = """\
meshlint: 1
site: {name: Two, country: GB, surroundings: home}
primary: hall
units:
  hall: {at: {x_m: 0, y_m: 0}, radios: {mid: {band: 5, channel: 36, width_mhz: 80, HALL}}}
  loft: {at: {x_m: FAR, y_m: 0}, radios: {mid: {band: 5, channel: 36, width_mhz: 80, LOFT}}}
backhaul: {loft: {from: loft, to: hall, over: cable, rate_mbps: 1000}}
clients: {phones: {count: 6, near: loft, roams: true}}
"""


def two(far: float, radio: str = "carries: [clients]") -> str:
    return TWO.replace("FAR", str(far)).replace("HALL", radio).replace("LOFT", radio)


def checked(text: str, *, usual: bool = True) -> SiteResult:
    result = Checker(DAY, apart=True, usual=usual).check(text.encode(), "a.site.yaml")
    assert result.problems == ()
    return result


def test_two_units_in_one_room_are_found_without_any_radio_figure() -> None:
    """Five metres apart, one channel: they share the air whatever ordinary radios they are."""
    alone = checked(two(5), usual=False)
    assert "own-cells-apart" not in {finding.rule for finding in alone.findings}
    (found,) = (f for f in checked(two(5)).findings if f.rule == "own-cells-apart")
    assert found.assumed
    assert found.severity != "error"
    assert "assuming ordinary equipment" in found.message


def test_what_the_file_states_is_never_filled() -> None:
    text = two(5, "power_dbm: 3, antenna_gain_dbi: -1, streams: 1, carries: [clients]")
    site, _ = load_site(text.encode(), "a.site.yaml", Catalogues())
    for filling in FILLINGS:
        (radio,) = (
            Fillable(Workings(site))
            .filled(filling, gaps_of(site))
            .site.units["hall"]
            .radios.values()
        )
        assert (radio.power_dbm, radio.antenna_gain_dbi, radio.streams) == (3, -1, 1)


@pytest.mark.parametrize(("country", "limit_dbm"), [("GB", 23), ("US", 36)])
def test_power_that_nobody_stated_keeps_to_the_law(country: str, limit_dbm: float) -> None:
    """200 mW of radiated power at 5150-5250 MHz in Europe; 47 CFR 15.407(a)(1) in the US."""
    text = two(5).replace("country: GB", f"country: {country}")
    site, _ = load_site(text.encode(), "a.site.yaml", Catalogues())
    for filling in FILLINGS:
        for unit in Fillable(Workings(site)).filled(filling, gaps_of(site)).site.units.values():
            radio = unit.radios["mid"]
            assert radio.power_dbm is not None
            assert radio.antenna_gain_dbi is not None
            assert radio.power_dbm + radio.antenna_gain_dbi <= limit_dbm + 0.1


def test_what_has_no_usual_range_stays_open() -> None:
    """A scan that nobody made settles nothing."""
    open_rules = {entry.rule for entry in checked(two(5)).not_judged}
    assert "crowded-by-neighbours" in open_rules


def test_an_assumed_pass_is_counted_apart() -> None:
    without, with_ranges = checked(two(5), usual=False), checked(two(5))
    assert with_ranges.held == without.held
    assert with_ranges.assumed
    assert without.assumed == ()


@given(st.sampled_from([5.0, 14.0, 30.0]), st.integers(0, 10**6))
def test_further_draws_agree_with_what_was_settled(far: float, seed: int) -> None:
    """Contradictions would show that the fillings do not meet the ends of the ranges."""
    text = two(far)
    result = checked(text)
    settled = {(f.rule, f.subject) for f in result.findings if f.assumed}
    site, document = load_site(text.encode(), "a.site.yaml", Catalogues())
    filling = drawn(f"further {seed}")
    run = SiteRun(
        shipped_rules(),
        Fillable(Workings(site, DAY)).filled(filling, gaps_of(site)),
        document,
        only={rule: None for rule, _ in settled},
    )
    run.judge_all()
    assert settled <= run.broken.keys()


def test_every_range_goes_from_its_weak_to_its_strong_end() -> None:
    for found in RANGES:
        assert found.source
        if not isinstance(found.low, str):
            assert found.low <= found.usual <= found.high  # type: ignore[operator]


def test_the_command_tells_what_was_assumed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.site.yaml").write_text(two(5))
    words = ["check", "a.site.yaml", "--no-cache", "--usual", "--today", "2026-11-25"]
    said = CliRunner().invoke(cli, [*words, "--format", "json"])
    report = json.loads(said.stdout)
    assert report["summary"]["held_assumed"] > 0
    (found,) = (f for f in report["files"][0]["findings"] if f["rule"] == "own-cells-apart")
    assert found["assumed"][0]["source"]
    assert "more held with any ordinary equipment" in CliRunner().invoke(cli, words).stdout
