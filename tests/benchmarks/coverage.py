"""What coverage costs: python tests/benchmarks/coverage.py

1. A level of 60 by 40 m with 12 units and 150 walls at 0.5 m, next to a plain double loop (for each
   unit and each wall, every place) in numpy that gives the same answers: time, memory, ratio.
2. How the time grows with places, walls and units: fitted exponents.
3. A site of 1,000 units without a plan, checked whole, and how that grows.
4. What a start costs with and without an outline drawn.
"""

from __future__ import annotations

import math
import random
import statistics
import subprocess
import sys
import time
import tracemalloc
from datetime import date
from functools import partial

import numpy as np

from meshlint.lint.engine import check_site
from meshlint.physics.materials import MATERIALS
from meshlint.run import shipped_rules
from meshlint.site.build import build_site
from meshlint.site.limits import MOST
from meshlint.site.load import Catalogues, load_site, read_site
from meshlint.workings.propagation.geometry import (
    CLIENT_HEIGHT_M,
    STEEPEST_DEG,
    location_of,
    storeys,
)
from meshlint.workings.propagation.path_loss import distance_terms
from meshlint.workings.propagation.raster import grid, losses_db
from meshlint.workings.site_workings import Workings

FREQUENCY_MHZ = 5210.0
WIDE_M, HIGH_M = 60, 40
DAY = date(2026, 11, 25)


def plan(units: int, walls: int, seed: int = 1) -> str:
    """Return a site of rooms: walls of 2 to 8 m, upright or level, of three materials."""
    draw = random.Random(seed)  # noqa: S311 - a made-up plan
    lines = []
    for _ in range(walls):
        x, y = round(draw.uniform(0, WIDE_M), 1), round(draw.uniform(0, HIGH_M), 1)
        long = round(draw.uniform(2, 8), 1)
        end = [x + long, y] if draw.random() < 0.5 else [x, y + long]
        made = draw.choice(["brick, thickness_mm: 110", "plasterboard, thickness_mm: 25"])
        lines.append(f"      - {{path_m: [[{x}, {y}], {end}], material: {made}}}")
    placed = [
        f"  u{i}: {{at: {{x_m: {draw.uniform(1, WIDE_M - 1):.1f}, "
        f"y_m: {draw.uniform(1, HIGH_M - 1):.1f}, height_m: 2.8}}}}"
        for i in range(units)
    ]
    return "\n".join(
        [
            "meshlint: 1",
            "site: {name: Bench, surroundings: office}",
            "primary: u0",
            "levels:",
            "  ground:",
            f"    outline_m: [[0, 0], [{WIDE_M}, 0], [{WIDE_M}, {HIGH_M}], [0, {HIGH_M}]]",
            "    walls:",
            *lines,
            "units:",
            *placed,
        ]
    )


def worked(units: int, walls: int) -> Workings:
    return Workings(load_site(plan(units, walls).encode(), "a.site.yaml", Catalogues())[0])


def by_shadow(w: Workings, step_m: float) -> list[np.ndarray]:
    level = w.site.levels["ground"]
    places = grid(level, [level.outline_m], step_m)
    return [
        losses_db(w, location_of(w, unit), places, [FREQUENCY_MHZ])[FREQUENCY_MHZ]
        for unit in w.site.units.values()
    ]


def by_double_loop(w: Workings, step_m: float) -> list[np.ndarray]:
    """Every wall against every place for every unit; slab losses by the formula in numpy."""
    level = w.site.levels["ground"]
    places = grid(level, [level.outline_m], step_m)
    x, y = places.x_m, places.y_m
    found = []
    for unit in w.site.units.values():
        spot = location_of(w, unit)
        (term,) = distance_terms(w, spot, spot, FREQUENCY_MHZ)
        east, north = x - spot.x_m, y - spot.y_m
        straight = np.sqrt(east**2 + north**2 + (CLIENT_HEIGHT_M - spot.height_m) ** 2)
        held = np.maximum(straight, 1.0)
        loss = (
            term.at_one_metre_db
            + term.near_slope_db * np.log10(np.minimum(held, term.break_m))
            + term.far_slope_db * np.log10(np.maximum(held / term.break_m, 1.0))
        )
        turned = (east < 0) | ((east == 0) & (north < 0))
        for piece in w.once(storeys)["ground"].pieces:
            sides = []
            for corner in (piece.start, piece.end):
                side = east * (corner[1] - spot.y_m) - north * (corner[0] - spot.x_m)
                sides.append(np.where(turned, -side, side) >= 0)
            along = (piece.end[0] - piece.start[0], piece.end[1] - piece.start[1])
            mine = along[0] * (spot.y_m - piece.start[1]) - along[1] * (spot.x_m - piece.start[0])
            theirs = along[0] * (y - piece.start[1]) - along[1] * (x - piece.start[0])
            met = (sides[0] != sides[1]) & ((theirs >= 0) != (mine >= 0))
            across = np.abs(east * along[1] - north * along[0]) / math.hypot(*along)
            cosine = np.clip(across / np.maximum(straight, 1e-12), 0, 1)
            loss = loss + np.where(met, _slab_db(piece.sheet.layer, cosine), 0.0)
        found.append(loss)
    return found


def _slab_db(layer, cosine):
    """Return the ripple-free slab loss of P.2040, as `materials.slab_loss_db`, over an array."""
    from meshlint.physics.materials import complex_permittivity
    from meshlint.physics.propagation import SPEED_OF_LIGHT_M_S

    eta = complex_permittivity(MATERIALS[layer.material], FREQUENCY_MHZ)
    cosine = np.maximum(cosine, math.cos(math.radians(STEEPEST_DEG)))
    inner = np.sqrt(eta - (1 - cosine**2))
    depth = 2 * np.pi * FREQUENCY_MHZ * 1e6 / SPEED_OF_LIGHT_M_S * layer.thickness_mm / 1000 * inner
    crossing = np.exp(2 * depth.imag)
    passed = 0.0
    for inside in (inner, inner / eta):
        reflected = np.abs((cosine - inside) / (cosine + inside)) ** 2
        entered = 4 * (cosine * inside.conj()).real / np.abs(cosine + inside) ** 2
        passed = passed + entered**2 / (1 - (reflected * crossing) ** 2) / 2
    return -10 * np.log10(crossing * passed)


def seconds(work, times: int = 3) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)


def peak_mb(work) -> float:
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def exponent(sizes: list[float], times: list[float]) -> float:
    return statistics.linear_regression(
        [math.log(s) for s in sizes], [math.log(t) for t in times]
    ).slope


def against_the_double_loop() -> None:
    w = worked(12, 150)
    fast, slow = by_shadow(w, 0.5), by_double_loop(w, 0.5)
    apart_db = max(float(np.abs(a - b).max()) for a, b in zip(fast, slow, strict=True))
    ours_s, theirs_s = seconds(lambda: by_shadow(w, 0.5)), seconds(lambda: by_double_loop(w, 0.5))
    ours_mb, theirs_mb = peak_mb(lambda: by_shadow(w, 0.5)), peak_mb(lambda: by_double_loop(w, 0.5))
    print(f"60 x 40 m, 12 units, 150 walls, 0.5 m ({fast[0].size} places)")
    print(f"  by shadow    {ours_s * 1000:7.0f} ms  {ours_mb:6.1f} MB")
    print(f"  double loop  {theirs_s * 1000:7.0f} ms  {theirs_mb:6.1f} MB")
    print(f"  {theirs_s / ours_s:.1f} times as fast; answers at most {apart_db:.4f} dB apart")


def growth() -> None:
    print("growth of the time, fitted exponents")
    steps = [1.0, 0.71, 0.5, 0.35, 0.25]
    w = worked(12, 150)
    times = [seconds(partial(by_shadow, w, s)) for s in steps]
    print(f"  places {exponent([1 / s**2 for s in steps], times):.2f} ({_ms(times)})")
    counts = [75, 150, 300, 600, 1200]
    times = [seconds(partial(by_shadow, worked(12, n), 0.5)) for n in counts]
    print(f"  walls  {exponent(counts, times):.2f} ({_ms(times)})")
    counts = [6, 12, 24, 48]
    times = [seconds(partial(by_shadow, worked(n, 150), 0.5)) for n in counts]
    print(f"  units  {exponent(counts, times):.2f} ({_ms(times)})")


def _ms(times: list[float]) -> str:
    return ", ".join(f"{t * 1000:.0f}" for t in times) + " ms"


def many_units(count: int) -> bytes:
    """Return a site of units 12 m apart, give or take, each on a cable of its own, without plan."""
    draw = random.Random(3)  # noqa: S311 - a made-up plan
    across = math.ceil(math.sqrt(count))
    units, links = [], []
    for i in range(count):
        x, y = 12 * (i % across) + draw.uniform(-4, 4), 12 * (i // across) + draw.uniform(-4, 4)
        units.append(
            f"  u{i}: {{at: {{x_m: {x:.2f}, y_m: {y:.2f}}}, radios: {{mid: {{band: 5, channel: "
            f"{draw.choice([36, 44, 52, 60, 100, 108])}, width_mhz: 40, power_dbm: 14, "
            "antenna_gain_dbi: 3, carries: [clients]}}}"
        )
        if i:
            links.append(f"  l{i}: {{from: u{i}, to: u0, over: cable}}")
    return "\n".join(
        [
            "meshlint: 1",
            "site: {name: Many, surroundings: office, country: GB}",
            "primary: u0",
            "units:",
            *units,
            "backhaul:",
            *links,
            "clients: {phones: {count: 50, near: u0, roams: true}}",
        ]
    ).encode()


def without_a_plan() -> None:
    rules = shipped_rules()
    counts = [125, 250, 500, 1000]
    times = []
    for count in counts:
        data = many_units(count)

        def whole(data: bytes = data) -> None:
            document = read_site(data, "a.site.yaml")
            # More units than a file may hold unless a policy allows it.
            check_site(rules, Workings(build_site(document, None, MOST), DAY), document)

        times.append(seconds(whole, 1))
    print(f"whole check without a plan, {counts} units: {_ms(times)}")
    print(f"  exponent {exponent(counts, times):.2f}")


def start_up() -> None:
    code = (
        "import sys, datetime; from meshlint.run import *; from meshlint.site.load import "
        "Catalogues; check_bytes(open(sys.argv[1], 'rb').read(), sys.argv[1], shipped_rules(), "
        "Catalogues(), datetime.date(2026, 11, 25)); print('numpy' in sys.modules)"
    )
    for name in ("fellgate", "emberdale"):
        path = f"samples/branches/{name}.site.yaml"
        loaded = subprocess.run(
            [sys.executable, "-c", code, path], capture_output=True, text=True, check=True
        ).stdout.strip()
        taken = seconds(
            partial(
                subprocess.run, [sys.executable, "-c", code, path], capture_output=True, check=True
            ),
            7,
        )
        print(f"start and check of {name}: {taken * 1000:.0f} ms; numpy imported: {loaded}")


if __name__ == "__main__":
    against_the_double_loop()
    growth()
    without_a_plan()
    start_up()
