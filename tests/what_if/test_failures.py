"""A failure is told as the facts have it, and as the file reads without what is gone."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.edits.proof import judged
from meshlint.run import Checker
from meshlint.site.problem import InputError
from meshlint.what_if.after_failure import failure_rates
from meshlint.what_if.asking import Question, answer
from meshlint.what_if.failing import Failed, failed
from meshlint.what_if.headline import headline
from meshlint.workings.alternatives.failures import Failure, stranded
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.edits.proof import Judged

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 11, 25)
PATH = "house.site.yaml"
RADIO = (
    "mid: {band: 5, channel: 36, width_mhz: 40, power_dbm: 20, antenna_gain_dbi: 3, "
    "generation: 802.11ax, streams: 2, lowest_basic_mbps: 12, carries: [clients, backhaul]}"
)


def state_of(text: str, path: str = PATH) -> Judged:
    return judged(Checker(TODAY), text.encode(), path)


def without(text: str, *things: str) -> Failed:
    found = answer(Checker(TODAY), text.encode(), PATH, Question(without=things)).failed
    assert found is not None
    return found


def wired(count: int, links: list[tuple[int, int]]) -> str:
    units = "".join(f"  u{n}: {{kind: switch}}\n" for n in range(count))
    joined = "".join(f"  l{a}{b}: {{from: u{a}, to: u{b}, over: cable}}\n" for a, b in links)
    head = "meshlint: 1\nsite: {name: A, country: GB}\nprimary: u0\n"
    return f"{head}units:\n{units}backhaul:\n{joined or '  {}'}"


@given(st.sets(st.tuples(st.integers(0, 5), st.integers(0, 5)).filter(lambda e: e[0] < e[1])),
       st.sets(st.integers(1, 5), min_size=1, max_size=2))  # fmt: skip
def test_who_goes_dark_on_cables_is_who_networkx_cuts_off(
    links: set[tuple[int, int]], gone: set[int]
) -> None:
    graph: nx.Graph[object] = nx.Graph(links)
    graph.add_nodes_from(range(6))
    before = nx.node_connected_component(graph, 0)
    graph.remove_nodes_from(gone)
    dark = before - gone - nx.node_connected_component(graph, 0)
    state = state_of(wired(6, sorted(links)))
    found = failed(Checker(TODAY), state, {f"u{n}" for n in gone}, ())
    assert set(found.dark) == {f"u{n}" for n in dark}
    assert found.unsure == ()


def by_radio(places: list[tuple[float, float]], links: list[tuple[int, int]]) -> str:
    units = "".join(
        f"  u{n}: {{routing_mbps: 900, radios: {{{RADIO}}}, at: {{x_m: {x}, y_m: {y}, "
        "height_m: 2}}\n"
        for n, (x, y) in enumerate(places)
    )
    joined = "".join(
        f"  l{a}{b}: {{from: u{a}, to: u{b}, over: radio, measured_mbps: 200}}\n" for a, b in links
    )
    groups = "".join(
        f"  g{n}: {{count: 2, near: u{n}, streams: 2, generation: 802.11ax, use: data, "
        "down_mbps: 2, up_mbps: 1, active_share: 1}\n"
        for n in range(len(places))
    )
    return (
        "meshlint: 1\nsite: {name: A, country: GB, surroundings: office}\nprimary: u0\n"
        "internet_lines: {main: {enters_at: u0, down_mbps: 100, up_mbps: 50}}\n"
        f"units:\n{units}backhaul:\n{joined}clients:\n{groups}"
        f"neighbours: []\nnetworks: {{home: {{name: Home}}}}\n"
    )


CHAIN = by_radio([(0, 0), (12, 0), (24, 0), (36, 0)], [(1, 0), (2, 1), (3, 2)])
FAR_CHAIN = by_radio([(0, 0), (60, 0), (120, 0), (180, 0)], [(1, 0), (2, 1), (3, 2)])
STAR = by_radio([(0, 0), (20, 0), (0, 20), (20, 20)], [(1, 0), (2, 0), (3, 0)])
RING = by_radio([(0, 0), (60, 0), (60, 60), (0, 60)], [(1, 0), (2, 1), (3, 2), (3, 0)])


def test_a_lost_unit_of_a_chain_is_bridged_where_the_level_holds() -> None:
    found = without(CHAIN, "u1")
    assert [(b.unit, b.parent, b.over) for b in found.comebacks] == [("u2", "u0", "radio mid")]
    assert found.dark == ()


def test_a_lost_unit_of_a_chain_out_of_reach_takes_along_all_behind_it() -> None:
    found = without(FAR_CHAIN, "u1")
    assert found.dark == ("u2", "u3")
    assert sum(entry.cut_off for entry in found.regrouped) == 6
    text = headline(answer(Checker(TODAY), FAR_CHAIN.encode(), PATH, Question(without=("u1",))))
    assert text == "Without u1, u2 and u3 go dark; 6 devices are cut off."


def test_a_lost_unit_of_a_ring_is_gone_round() -> None:
    found = without(RING, "u1")
    assert (found.dark, found.after is not None) == ((), True)
    assert [(b.unit, b.over) for b in found.comebacks] == [("u2", "the link l32")]


def test_two_failures_are_one_and_cut_a_ring_in_two() -> None:
    assert without(RING, "u1", "l30").dark == ("u2", "u3")


def test_a_lost_unit_of_a_star_is_missed_by_nobody_else() -> None:
    found = without(STAR, "u1")
    assert (found.dark, found.comebacks) == ((), ())


@pytest.mark.parametrize(
    ("text", "gone", "groups"),
    [(RING, "u3", {"g0", "g1", "g2"}), (FAR_CHAIN, "u3", {"g0", "g1", "g2"})],
)
def test_the_others_get_what_they_get_in_a_file_written_without_the_unit(
    text: str, gone: str, groups: set[str]
) -> None:
    by_hand = state_of(re.sub(rf"^.*\b{gone}\b.*\n", "", text, flags=re.MULTILINE)).rates_mbps
    assert by_hand.keys() == groups
    found = answer(Checker(TODAY), text.encode(), PATH, Question(without=(gone,)))
    told = {group.group: group.rates["down"].after for group in failure_rates(found)}
    assert told == pytest.approx({**by_hand, f"g{gone[1]}": 0.0})


def test_devices_move_to_the_unit_that_covers_them_and_share_its_air() -> None:
    found = answer(Checker(TODAY), STAR.encode(), PATH, Question(without=("u1",)))
    assert found.failed is not None
    (moved,) = found.failed.regrouped
    assert (moved.group, moved.cut_off) == ("g1", 0)
    alone = re.sub(r"^  (u1|l10): .*\n", "", STAR, flags=re.MULTILINE)
    by_hand = state_of(alone.replace("near: u1", f"near: {moved.to}")).rates_mbps
    told = {group.group: group.rates["down"].after for group in failure_rates(found)}
    assert told == pytest.approx(by_hand)


AREA = (
    by_radio([(0, 0), (40, 0)], [(1, 0)])
    .replace(
        "clients:\n",
        "levels: {ground: {base_m: 0, ceiling_m: 3, walls: [], outline_m: "
        "[[-10, -5], [50, -5], [50, 5], [-10, 5]]}}\n"
        "areas: {hall: {level: ground, target_dbm: -55, "
        "outline_m: [[-10, -5], [50, -5], [50, 5], [-10, 5]]}}\n"
        "clients:\n"
        "  all: {count: 20, in: hall, streams: 2, generation: 802.11ax, use: data, down_mbps: 2, "
        "up_mbps: 1, active_share: 1}\n",
    )
    .replace("height_m: 2}", "height_m: 2, level: ground}")
)


def test_of_a_group_in_an_area_those_that_nobody_covers_are_cut_off() -> None:
    """Without u1 places farther than u0 reaches are dark; the others share u0."""
    found = answer(Checker(TODAY), AREA.encode(), PATH, Question(without=("u1",)))
    assert found.failed is not None
    (entry,) = [e for e in found.failed.regrouped if e.group == "all"]
    assert 0 < entry.cut_off < entry.devices < 20
    (told,) = [group for group in failure_rates(found) if group.group == "all"]
    assert told.note == f"{entry.cut_off:.2g} cut off, served by units around"


def test_what_is_fed_by_a_lost_switch_has_no_power() -> None:
    text = wired(4, [(0, 1), (1, 2), (2, 3)]).replace(
        "u3: {kind: switch}", "u3: {kind: switch, powered: {by: cable, from: u2}}"
    )
    assert without(text, "u2").powerless == ("u3",)
    assert without(text, "l23").powerless == ("u3",)
    unsaid = text.replace("by: cable, from: u2", "by: cable")
    assert without(unsaid, "u2").powerless == ("u3",)  # it has no other cable
    primary = text.replace(
        "u0: {kind: switch}", "u0: {kind: switch, powered: {by: cable, from: u1}}"
    )
    found = without(primary, "u1")
    assert (found.powerless, found.after) == (("u0",), None)


def test_without_the_primary_nothing_is_left() -> None:
    found = answer(Checker(TODAY), STAR.encode(), PATH, Question(without=("u0",)))
    assert headline(found) == "Without u0, the whole site is offline; 8 devices are cut off."
    assert found.is_bad


def test_what_the_file_does_not_tell_is_no_comfort() -> None:
    text = CHAIN.replace(", streams: 2, lowest", ", lowest")
    found = answer(Checker(TODAY), text.encode(), PATH, Question(without=("u1",)))
    assert found.failed is not None
    assert found.failed.dark == ("u2", "u3")
    assert "units.*.radios.*.streams" in {wanted.key for wanted in found.failed.unsure}
    assert "The file does not tell whether another way is left" in headline(found)


def sites() -> Iterator[tuple[str, bytes]]:
    for path in sorted(ROOT.glob("samples/branches/[efs]*")):
        yield str(path), path.read_bytes()
    for rule in ("another-way-round", "one-failure"):
        path = ROOT / f"tests/rules/{rule}.yaml"
        for text in re.split(r"^---\n", path.read_text(), flags=re.MULTILINE):
            yield str(path.with_suffix(".site.yaml")), text.encode()


@pytest.mark.slow
def test_who_stays_dark_is_who_the_facts_say() -> None:
    checker, tried = Checker(TODAY), 0
    for path, data in sites():
        try:
            state = judged(checker, data, path)
        except InputError:
            continue
        w = state.opened.workings
        fed = any(u.powered and u.powered.source for u in w.site.units.values())
        losses = [Failure(unit=u) for u in w.site.units if u != w.site.primary and not fed]
        losses += [Failure(link=x) for x in (w.site.backhaul or {}).values() if x.whole is None]
        for loss in losses if not fed else ():
            try:
                wanted = stranded(w, loss)
            except Missing:
                continue
            units = {loss.unit} if loss.unit else set()
            found = failed(checker, state, units, [loss.link] if loss.link else [])
            assert set(found.dark) == set(wanted), (path, loss.unit or loss.link)
            tried += 1
    assert tried > 40
