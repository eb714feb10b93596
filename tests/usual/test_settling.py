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
from meshlint.usual.settling import MOST_IN_A_UNIT
from meshlint.workings.governance.usual_ranges import RANGES
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
    words = ["check", "a.site.yaml", "--no-cache", "--today", "2026-11-25"]
    said = CliRunner().invoke(cli, [*words, "--format", "json"])
    report = json.loads(said.stdout)
    assert report["summary"]["held_assumed"] > 0
    (found,) = (f for f in report["files"][0]["findings"] if f["rule"] == "own-cells-apart")
    assert found["assumed"][0]["source"]
    assert "more held with any ordinary equipment" in CliRunner().invoke(cli, words).stdout


def test_the_file_alone_counts_where_a_run_asks_for_that(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.site.yaml").write_text(two(5))
    words = ["check", "a.site.yaml", "--no-cache", "--today", "2026-11-25", "--format", "json"]
    report = json.loads(CliRunner().invoke(cli, [*words, "--stated-only"]).stdout)
    assert report["summary"]["held_assumed"] == 0
    assert not any(finding["assumed"] for finding in report["files"][0]["findings"])


OWN = """\
usual_ranges:
  - {input: units.*.radios.*.power_dbm, band: 5, low: 5, usual: 6, high: 7, because: our sheets}
"""


@pytest.mark.parametrize(
    ("policy", "assumed"),
    [
        ("usual: false", False),
        ("usual: true", True),
        ("blocks: [{sites: [a.site.yaml], usual: false}]", False),
        ("blocks: [{sites: [b.site.yaml], usual: false}]", True),
    ],
)
def test_a_policy_switches_it_off_for_all_sites_or_for_some(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, policy: str, assumed: bool
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("meshlint.yaml").write_text(f"meshlint: 1\n{policy}\n")
    result = Checker(DAY).check(two(5).encode(), "a.site.yaml")
    assert result.problems == ()
    assert any(finding.assumed for finding in result.findings) == assumed
    assert bool(result.assumed) == assumed


def test_the_ranges_of_a_policy_count_before_those_of_the_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("meshlint.yaml").write_text(f"meshlint: 1\n{OWN}")
    Path("a.site.yaml").write_text(two(5))
    listed = CliRunner().invoke(cli, ["usual", "a.site.yaml"]).stdout
    assert "5 to 7 dBm, usually 6 dBm" in listed
    assert "our sheets" in listed
    (found,) = (
        finding
        for finding in Checker(DAY, apart=True).check(two(5).encode(), "a.site.yaml").findings
        if finding.rule == "own-cells-apart"
    )
    assert {(a.low, a.high) for a in found.assumed if a.unit == "dBm"} >= {(5, 7)}
    shown = CliRunner().invoke(cli, ["policy", "a.site.yaml"]).stdout
    assert "usual range: units.*.radios.*.power_dbm band 5 = 5, 6, 7" in shown


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ("low: 8, usual: 6, high: 7", "3:5: low, usual and high must go up, found 8, 6, 7"),
        ("low: few, usual: 6, high: 7", "expected a number, found 'few'"),
    ],
)
def test_a_range_that_makes_no_sense_is_refused_at_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, values: str, said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    own = OWN.replace("low: 5, usual: 6, high: 7", values)
    Path("meshlint.yaml").write_text(f"meshlint: 1\n{own}")
    (problem,) = Checker(DAY).check(two(5).encode(), "a.site.yaml").problems
    assert said in f"{problem.place}: {problem.message}"


def test_amendments_have_an_order_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    own = "usual_ranges: [{input: clients.*.generation, low: 802.11ax, usual: LAST, high: LAST}]"
    messages = []
    for last in ("802.11be", "802.11n", "802.11zz"):
        Path("meshlint.yaml").write_text("meshlint: 1\n" + own.replace("LAST", last) + "\n")
        problems = Checker(DAY).check(two(5).encode(), "a.site.yaml").problems
        messages.append(problems[0].message if problems else "")
    assert messages[0] == ""
    assert "must go up" in messages[1]
    assert "expected one of 802.11b" in messages[2]


def test_devices_that_name_no_band_have_a_usual_amendment_too() -> None:
    site, _ = load_site(two(5).encode(), "a.site.yaml", Catalogues())
    kinds = {gap.range.key for gap in gaps_of(site) if gap.pointer[:2] == ("clients", "phones")}
    assert kinds == {"clients.*.generation", "clients.*.streams", "clients.*.transmit_dbm"}


def test_what_stays_open_names_what_no_range_can_stand_for() -> None:
    """Stating the devices' amendment would settle nothing where nobody has scanned."""
    site, _ = load_site(two(5).encode(), "a.site.yaml", Catalogues())
    gaps = {gap.pointer for gap in gaps_of(site)}
    left = checked(two(5)).not_judged
    assert [e for e in left if len({wanted.pointer in gaps for wanted in e.inputs}) > 1] == []
    asked = {entry.rule: entry.inputs for entry in left}
    assert "neighbours" in {wanted.key for wanted in asked["crowded-by-neighbours"]}


def test_a_channel_that_a_unit_chooses_is_never_told_as_one() -> None:
    text = two(5, "carries: [clients, backhaul]").replace(
        "over: cable, rate_mbps: 1000", "over: radio"
    )
    text = text.replace("channel: 36, width_mhz: 80", "channel: auto")
    (found,) = (f for f in checked(text).findings if f.rule == "backhaul-off-radar")
    assert found.assumed
    assert "The units choose the channel and may choose such a one" in found.message
    assert "channel 1" not in found.message


def test_sites_of_very_many_radios_are_judged_by_what_they_state() -> None:
    radios = ", ".join(f"r{at}: {{band: 5, channel: 36}}" for at in range(MOST_IN_A_UNIT + 1))
    text = two(5).replace("radios: {mid:", f"radios: {{{radios}, mid:", 1)
    assert checked(text).assumed == ()
    assert checked(two(5)).assumed
