"""What to use instead: permitted channels in order, and channels for a set of cells.

Which channels a country opens is checked against the regulators' own texts, worked out by hand; the
order of channels, which is ours, against the database's figures. The assignment is compared with
trying every combination.
"""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshlint.law.assignment import EXACT_CELLS, Edge, assign
from meshlint.law.choices import Sender, best_clear, choices, common_choices
from meshlint.law.regulatory import Country, country, permission
from meshlint.physics.channels import Channel, Span, all_channels, channels, overlap_mhz


def law(code: str) -> Country:
    found = country(code)
    assert found is not None
    return found


def test_clear_channels_come_first_and_then_the_quiet_ones() -> None:
    heard = [(Span(5170, 5250), 2.0)]
    found = choices(law("US"), 5, 80, outdoors=False, heard=heard)
    assert [c.channel.number for c in found[:3]] == [149, 165, 36]
    assert [c.clear for c in found] == [True] * 3 + [False] * 4
    assert found[2].heard == 160
    assert [c.check_s for c in found] == [None] * 3 + [60] * 4


def test_only_permitted_channels_are_offered() -> None:
    for code in ("DE", "US", "JP", "AU", "CN"):
        for outdoors in (False, True):
            for choice in choices(law(code), 5, 40, outdoors=outdoors):
                assert permission(law(code), choice.channel, outdoors=outdoors).allowed
    assert choices(law("CN"), 6, 80, outdoors=False) == ()


@pytest.mark.parametrize(
    ("code", "outdoors", "clear", "by_radar"),
    [
        # ECC/DEC/(04)08 decides 2 and 3: 5150-5350 MHz indoors, 5470-5725 MHz anywhere; radar
        # detection in 5250-5350 and 5470-5725 MHz (EN 301 893). ERC/REC 70-03, short-range devices:
        # 5725-5875 MHz, 25 mW. 80 MHz blocks by IEEE 802.11: 5170-5250, 5250-5330, 5490-5570,
        # 5570-5650, 5650-5730 (its last 5 MHz short-range), 5735-5815; 5815-5895 is past
        # 5875.
        ("DE", False, {36, 149}, {52, 100, 116, 132}),
        ("DE", True, {149}, {100, 116, 132}),
        # 47 CFR 15.407(a)(1) to (3): 5150-5250, 5250-5350, 5470-5725 and 5725-5850 MHz indoors and
        # out; (h)(2): radar detection in 5250-5350 and 5470-5725 MHz. The block at 132 ends at
        # 5730 MHz, partly in the last, and is open as a whole; the one at 165 (5815-5895) needs
        # 5850-5895 MHz, which (a)(3)(ii) opens indoors.
        ("US", False, {36, 149, 165}, {52, 100, 116, 132}),
        ("US", True, {36, 149}, {52, 100, 116, 132}),
        # F2025L01047 Table 8: 5150-5250 and 5250-5350 MHz indoors; 5470-5600 and 5650-5725 MHz;
        # 5725-5850 MHz; 5600-5650 MHz closed, so nothing at 116.
        ("AU", False, {36, 149}, {52, 100, 132}),
        ("AU", True, {149}, {100, 132}),
    ],
)
def test_the_open_channels_of_80_mhz_are_those_of_the_regulations(
    *, code: str, outdoors: bool, clear: set[int], by_radar: set[int]
) -> None:
    found = choices(law(code), 5, 80, outdoors=outdoors)
    assert {c.channel.number for c in found if c.clear} == clear
    assert {c.channel.number for c in found if not c.clear} == by_radar


def test_what_all_may_use_is_what_each_may_use() -> None:
    """ECC/DEC/(04)08: outdoors 5470-5725 MHz alone, and the short-range span of ERC/REC 70-03."""
    indoors, outdoors = Sender(outdoors=False), Sender(outdoors=True)
    found = common_choices(law("DE"), 5, 80, [indoors, outdoors])
    assert [c.channel.number for c in found] == [149, 100, 116, 132]
    with pytest.raises(ValueError, match="no radio"):
        common_choices(law("DE"), 5, 80, [])


def test_the_weakest_class_sets_the_power() -> None:
    """(EU) 2021/1067: 23 dBm for the indoor class, 14 dBm for very low power."""
    mixed = [Sender(outdoors=False, power_class=c) for c in ("low-indoor", "very-low")]
    assert {round(c.limit.eirp_dbm) for c in common_choices(law("DE"), 6, 160, mixed)} == {14}


@pytest.mark.parametrize(
    ("code", "outdoors", "number", "width", "narrower"),
    [
        ("DE", False, 36, 80, 80),
        ("DE", True, 149, 80, 80),
        ("US", False, 149, 160, 0),
        ("US", True, 36, 80, 80),
        ("JP", False, 36, 80, 80),
    ],
)
def test_the_best_clear_channel_costs_width(
    *, code: str, outdoors: bool, number: int, width: int, narrower: int
) -> None:
    best = best_clear(law(code), 5, 160, [Sender(outdoors)])
    assert best is not None
    assert (best.choice.channel.number, best.choice.channel.width_mhz) == (number, width)
    assert best.narrower_by_mhz == narrower


def test_there_may_be_no_clear_channel() -> None:
    """5 GHz outdoors in GB: 5150-5350 and 5725-5850 are for indoors, the rest has radar duty."""
    assert best_clear(law("GB"), 5, 80, [Sender(outdoors=True)]) is None
    assert best_clear(law("JP"), 5, 80, [Sender(outdoors=True)]) is None
    assert choices(law("GB"), 5, 80, outdoors=True)


def test_a_gap_of_the_table_is_the_last_way_out_and_never_a_clear_one() -> None:
    """Panama: 5150-5350 and 5725-5850 without duty, 5470-5725 unflagged, all open outdoors."""
    found = choices(law("PA"), 5, 80, outdoors=True)
    assert [(c.channel.number, c.clear) for c in found] == [
        (36, True),
        (149, True),
        (52, True),
        (100, False),
        (116, False),
        (132, False),
    ]
    upper = Sender(outdoors=True, tunes=frozenset(range(100, 166)))
    best = best_clear(law("PA"), 5, 160, [upper])
    assert best is not None
    assert (best.choice.channel.number, best.choice.channel.width_mhz) == (149, 80)


def test_only_what_every_radio_can_tune_is_offered() -> None:
    """Two radios of one case that split the band: nothing is left that both can be set to."""
    lower = Sender(outdoors=False, tunes=frozenset(range(36, 65, 4)))
    upper = Sender(outdoors=False, tunes=frozenset((*range(100, 145, 4), *range(149, 166, 4))))
    assert [c.channel.number for c in common_choices(law("US"), 5, 80, [lower])] == [36, 52]
    assert [c.channel.number for c in common_choices(law("US"), 5, 160, [lower])] == [36]
    # 5735-5895 MHz needs 169 to 177 as well.
    assert [c.channel.number for c in common_choices(law("US"), 5, 160, [upper])] == [100]
    assert common_choices(law("US"), 5, 20, [lower, upper]) == ()


def test_where_a_radio_need_not_be_turned_down_comes_first() -> None:
    """DE indoors: 23 dBm at 36 and 13.97 dBm at 149 (ECC/DEC/(04)08, EN 300 440)."""
    quiet, loud = Sender(outdoors=False, radiated_dbm=13), Sender(outdoors=False, radiated_dbm=23)
    heard = [(Span(5170, 5250), 2.0)]
    assert [c.channel.number for c in common_choices(law("DE"), 5, 80, [quiet], heard)[:2]] == [
        149,
        36,
    ]
    (first, second) = common_choices(law("DE"), 5, 80, [quiet, loud], heard)[:2]
    assert [first.channel.number, second.channel.number] == [36, 149]
    assert [first.turn_down_db, second.turn_down_db] == [0, 9]


def test_conducted_power_bars_a_channel_too() -> None:
    """47 CFR 15.407(a)(1) and (2): 30 dBm conducted at 5150-5250 MHz, 24 at 5250-5350."""
    strong = Sender(outdoors=False, radiated_dbm=28, conducted_dbm=28)
    told = {c.channel.number: c.turn_down_db for c in common_choices(law("US"), 5, 80, [strong])}
    assert (told[36], told[52], told[149]) == (0, 4, 0)


def test_channels_can_be_left_out() -> None:
    best = best_clear(law("DE"), 5, 80, [Sender(outdoors=False)], usable=lambda c: c.number != 36)
    assert best is not None
    assert best.choice.channel.number == 149


CANDIDATES = (*all_channels(2.4, 20)[:4], channels(2.4, 6, 20)[0], channels(2.4, 11, 20)[0])


def _cost(
    picked: dict[str, Channel], edges: list[Edge], heard: dict[str, list[tuple[Span, float]]]
) -> float:
    between = sum(e.weight * overlap_mhz(picked[e.a], picked[e.b]) for e in edges)
    own = sum(w * overlap_mhz(s, picked[c]) for c, hs in heard.items() for s, w in hs)
    return between + own


@st.composite
def _sites(
    draw: st.DrawFn,
) -> tuple[dict[str, list[Channel]], list[Edge], dict[str, list[tuple[Span, float]]]]:
    cells = [f"cell {i}" for i in range(draw(st.integers(1, 4)))]
    options = st.lists(st.sampled_from(CANDIDATES), min_size=1, max_size=5, unique=True)
    shared = draw(options)
    candidates = {c: shared if draw(st.booleans()) else draw(options) for c in cells}
    edges = [
        Edge(a, b, draw(st.sampled_from([1.0, 1.0, 0.5])))
        for a, b in itertools.combinations(cells, 2)
        if draw(st.booleans())
    ]
    networks = st.lists(
        st.tuples(st.sampled_from([c.span for c in CANDIDATES]), st.sampled_from([0.25, 2.0])),
        max_size=2,
    )
    heard = {c: draw(networks) for c in cells if draw(st.booleans())}
    return candidates, edges, heard


@settings(max_examples=200)
@given(_sites())
def test_no_combination_is_cheaper(
    site: tuple[dict[str, list[Channel]], list[Edge], dict[str, list[tuple[Span, float]]]],
) -> None:
    candidates, edges, heard = site
    found = assign(candidates, edges, heard)
    everything = (
        dict(zip(candidates, picked, strict=True))
        for picked in itertools.product(*candidates.values())
    )
    assert found.exact
    assert found.cost == pytest.approx(min(_cost(p, edges, heard) for p in everything))
    assert found.cost == pytest.approx(_cost(dict(found.channels), edges, heard))
    assert all(found.channels[c] in candidates[c] for c in candidates)


def test_three_cells_take_one_six_and_eleven() -> None:
    cells = ["a", "b", "c"]
    edges = [Edge(x, y) for x, y in itertools.combinations(cells, 2)]
    plan = [channels(2.4, n, 20)[0] for n in (1, 6, 11)]
    found = assign(dict.fromkeys(cells, plan), edges)
    assert sorted(c.number for c in found.channels.values()) == [1, 6, 11]
    assert (found.cost, found.exact) == (0, True)


def test_a_large_site_is_not_called_proven() -> None:
    """A ring of 11 cells with two channels to choose from must share one once: an odd cycle."""
    cells = [f"{i:02}" for i in range(EXACT_CELLS + 1)]
    ring = [Edge(a, b) for a, b in zip(cells, cells[1:] + cells[:1], strict=True)]
    two = [channels(2.4, n, 20)[0] for n in (1, 6)]
    found = assign(dict.fromkeys(cells, two), ring)
    assert not found.exact
    assert found.cost >= 20
    small = [f"{i:02}" for i in range(9)]
    odd = [Edge(a, b) for a, b in zip(small, small[1:] + small[:1], strict=True)]
    assert assign(dict.fromkeys(small, two), odd).cost == 20
    assert assign(dict.fromkeys(small, two), odd).exact


def test_a_cell_without_candidates_is_refused() -> None:
    with pytest.raises(ValueError, match="cell attic has no candidate"):
        assign({"attic": []}, [])
