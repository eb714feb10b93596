"""How the capacity workings grow with the site: 10, 100 and 1,000 units.

Run it as a script: python tests/benchmarks/capacity_growth.py [UNITS ...]

Sites are made up: units 15 m apart on a grid in one open office, in groups of ten. One of each
group is on a cable, three hang on it by radio and two on each of those, all on the group's 6 GHz
channel. Every unit serves two client groups at 2.4 and 5 GHz. The exponent is the slope
between the last two sizes: 1 is linear, 2 is every unit against every other.
"""

from __future__ import annotations

import math
import sys
from contextlib import suppress
from time import perf_counter
from typing import TYPE_CHECKING

from meshlint.site.build import build_site
from meshlint.site.limits import MOST
from meshlint.site.source import read_document
from meshlint.workings.alternatives import band_moves, failures, parent, parent_moves
from meshlint.workings.capacity import fair_shares, path_throughput
from meshlint.workings.contention import domains
from meshlint.workings.contention.airtime import ledger
from meshlint.workings.site_workings import Workings
from meshlint.workings.topology.tree import live_links
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Callable

GROUP = 10
APART_M = 15
LOW = (1, 6, 11)
MID = (36, 44, 52, 60, 100, 108, 116, 124, 132)
HIGH = (5, 21, 37, 53, 69, 85)

PLACES = ((1, 1), (0, 1), (2, 1), (1, 2), (0, 0), (0, 2), (2, 0), (2, 2), (1, 3), (0, 3))
"""Where the units of a group stand, in steps of 15 m from its corner."""

HEAD = """\
meshlint: 1
site: {name: Made up, country: GB, surroundings: office}
primary: u0
internet_lines: {main: {enters_at: u0, down_mbps: 10000, up_mbps: 10000}}
models:
  tri:
    radios:
      low: {band: 2.4, generation: 802.11ax, streams: 2, antenna_gain_dbi: 3, noise_figure_db: 6}
      mid: {band: 5, generation: 802.11ax, streams: 2, antenna_gain_dbi: 4, noise_figure_db: 6}
      high: {band: 6, generation: 802.11ax, streams: 2, antenna_gain_dbi: 5, noise_figure_db: 7}
    ports: [{count: 2, rate_mbps: 2500}]
    routing_mbps: 5000
networks: {staff: {radios: [low, mid]}, public: {radios: [low, mid]}}
neighbours: []
"""


def site_text(units: int) -> str:
    """Return a site of so many units."""
    wide = math.ceil(math.sqrt(units / GROUP))
    placed, links, clients = [], [], []
    for number in range(units):
        group, place = divmod(number, GROUP)
        x_m = APART_M * (3 * (group % wide) + PLACES[place][0])
        y_m = APART_M * (4 * (group // wide) + PLACES[place][1])
        placed.append(
            f"  u{number}: {{model: tri, at: {{x_m: {x_m}, y_m: {y_m}, height_m: 3}}, radios: {{\n"
            f"    low: {{channel: {LOW[number % 3]}, width_mhz: 20, power_dbm: 14,"
            " carries: [clients], lowest_basic_mbps: 12},\n"
            f"    mid: {{channel: {MID[number % 9]}, width_mhz: 40, power_dbm: 17,"
            " carries: [clients], lowest_basic_mbps: 12},\n"
            f"    high: {{channel: {HIGH[group % 6]}, width_mhz: 80, power_dbm: 18,"
            " carries: [backhaul]}}}\n"
        )
        if place == 0 and number:
            links.append(
                f"  l{number}: {{from: u{number}, to: u0, over: cable, rate_mbps: 2500}}\n"
            )
        elif place:
            parent = number - place + (0 if place < 4 else 1 + (place - 4) // 2)
            links.append(f"  l{number}: {{from: u{number}, to: u{parent}, over: radio}}\n")
        clients.append(
            f"  t{number}: {{count: 12, near: u{number}, band: 5, streams: 2, generation: 802.11ax,"
            " use: data, down_mbps: 2, up_mbps: 0.5, active_share: 0.5}\n"
            f"  s{number}: {{count: 10, near: u{number}, band: 2.4, streams: 1,"
            " generation: 802.11n, use: sensor, down_mbps: 0.01, up_mbps: 0.01}\n"
        )
    return (
        HEAD + f"units:\n{''.join(placed)}backhaul:\n{''.join(links)}clients:\n{''.join(clients)}"
    )


def ledgers(w: Workings) -> None:
    """Work out the ledger of every air."""
    for air in w.once(domains.contention_domains):
        ledger(w, air)


def ways(w: Workings) -> None:
    """Work out the way of every unit."""
    for name in w.site.units:
        path_throughput.throughput_of(w, name)


def parents(w: Workings) -> None:
    """Work out the best parent of every unit that hangs on radio."""
    for unit in w.site.units.values():
        if (
            path_throughput.links_of(w, unit.name)[:1]
            and path_throughput.links_of(w, unit.name)[0].over == "radio"
        ):
            parent.best_parent(w, unit)


def all_failures(w: Workings) -> None:
    """Work out who goes dark with every unit, and what is left for it after the worse loss."""
    for unit in w.site.units.values():
        if unit.name != w.site.primary:
            failures.dark_units.compute(w, unit)
            failures.fallback(w, unit)


def moves(w: Workings) -> None:
    """Work out every other band that backhaul could use, and what every better parent would give.

    One that the workings call best already has no move to be worked out.
    """
    for link in w.once(live_links).values():
        if link.over == "radio":
            band_moves.choice(w, link)
    for unit in w.site.units.values():
        with suppress(Missing):
            parent_moves.move(w, unit)


STAGES: dict[str, Callable[[Workings], object]] = {
    "airs": lambda w: w.once(domains.contention_domains),
    "ledgers": ledgers,
    "ways": ways,
    "fair shares": lambda w: w.once(fair_shares.fair_shares),
    "best parents": parents,
    "failures": all_failures,
    "moves": moves,
}


def times_s(units: int) -> list[float]:
    """Return the time of each stage for a site of so many units, after the ones before it."""
    document = read_document(site_text(units).encode(), "made-up.site.yaml", MOST)
    w = Workings(build_site(document, limits=MOST))
    found = []
    for stage in STAGES.values():
        start = perf_counter()
        stage(w)
        found.append(perf_counter() - start)
    return found


def main() -> None:
    """Print a table of seconds by stage and size, and the growth exponents."""
    sizes = [int(word) for word in sys.argv[1:]] or [10, 100, 1000]
    columns = {size: times_s(size) for size in sizes}
    print("| seconds | " + " | ".join(f"{size} units" for size in sizes) + " | exponent |")
    print("|---|" + "---|" * (len(sizes) + 1))
    rows = {name: [columns[size][at] for size in sizes] for at, name in enumerate(STAGES)}
    rows["together"] = [sum(columns[size]) for size in sizes]
    for name, row in rows.items():
        slope = math.log(row[-1] / row[-2]) / math.log(sizes[-1] / sizes[-2])
        print(f"| {name} | " + " | ".join(f"{s:.3f}" for s in row) + f" | {slope:.2f} |")


if __name__ == "__main__":
    main()
