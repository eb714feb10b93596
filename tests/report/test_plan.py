"""The drawing of a site: what stands in it, what never gets into it, and its colours."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from meshlint.cli import cli
from meshlint.report.colour_scale import colours
from meshlint.report.plan import draw
from meshlint.report.plan_bands import areas_above, lines_at
from meshlint.report.plan_sheet import NothingToDraw
from meshlint.run import Checker

CHECKER = Checker(date(2026, 11, 25))
SVG = "{http://www.w3.org/2000/svg}"

HOUSE = """
meshlint: 1
site: {{name: "{name}", surroundings: office, country: GB}}
primary: desk
levels:
  ground:
    base_m: 0
    outline_m: [[0, 0], [20, 0], [20, 10], [0, 10]]
    walls: [{{path_m: [[10, 0], [10, 10]], loss_db: 30}}]
  first: {{base_m: 3, outline_m: [[0, 0], [8, 0], [8, 6], [0, 6]]}}
areas: {{far room: {{level: ground, outline_m: [[10, 0], [20, 0], [20, 10], [10, 10]]}}}}
units:
  desk: {{at: {{level: ground, x_m: 3, y_m: 5}}, radios: {{mid: {{band: 5, radiated_dbm: 15}}}}}}
  "{unit}": {{at: {{level: first, x_m: 3, y_m: 3}}, radios: {{mid: {{band: 5, radiated_dbm: 15}}}}}}
backhaul: {{up: {{from: "{unit}", to: desk, over: radio}}}}
"""


def drawn(name="House", unit="loft") -> str:
    opened = CHECKER.open(HOUSE.format(name=name, unit=unit).encode(), "a.site.yaml")
    return draw(opened.workings, CHECKER.judge(opened).findings)


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314


def test_the_drawing_says_what_beams_rest_on_where_there_are_any():
    assert "TR 38.901" not in " ".join(texts(drawn()))
    text = HOUSE.format(name="House", unit="loft").replace(
        "radiated_dbm: 15}}}\n",
        "radiated_dbm: 15, beam_width_deg: 60, beam_height_deg: 180, beam_bearing_deg: 90, "
        "beam_tilt_deg: 0}}}\n",
        1,
    )
    w = CHECKER.open(text.encode(), "a.site.yaml").workings
    assert "Beams of antennas by 3GPP TR 38.901 Table 7.3-1." in " ".join(texts(draw(w, ())))


def test_the_drawing_names_the_site_its_levels_its_units_and_where_links_go():
    words = texts(drawn())
    assert {"House", "ground", "first", "desk", "loft", "20 by 10 m"} <= set(words)
    assert {"to loft, first", "to desk, ground"} <= set(words)


ROOMS = """\
meshlint: 1
site: {name: House, country: GB}
primary: hall
levels:
  ground: {base_m: 0, room_grid: {columns_m: [4, 8], rows_m: [4, 4],
      names: [[hall, parlour], [store, parlour]]}}
  first: {base_m: 3, rooms_as: ground}
units:
  hall: {at: {level: ground, x_m: 2, y_m: 2}, radios: {mid: {band: 5}}}
"""


def test_rooms_bear_their_names_where_they_lie_and_keep_off_the_names_of_units():
    opened = CHECKER.open(ROOMS.encode(), "a.site.yaml")
    svg = draw(opened.workings, ())
    shown = [t for t in ET.fromstring(svg).iter(f"{SVG}text") if "aria-hidden" not in t.attrib]  # noqa: S314
    names = [text.text for text in shown if text.text in ("hall", "store", "parlour")]
    assert sorted(names) == ["hall"] * 3 + ["parlour"] * 2 + ["store"] * 2
    # The unit stands in the middle of the hall, so the room's name has made way for it.
    unit, room, _ = sorted(
        (t for t in shown if t.text == "hall"), key=lambda t: -int(t.get("font-weight", 0))
    )
    assert unit.get("font-weight") == "600"
    assert abs(float(unit.get("y", 0)) - float(room.get("y", 0))) > 11


def test_findings_are_numbered_in_the_list_and_on_the_plan():
    words = texts(drawn())
    at = words.index("warning, no-gaps")
    number = words[at - 1]
    assert words[at + 1] == "far room"
    assert words.count(number) >= 2


@pytest.mark.parametrize(
    "hostile", ["<script>alert(1)</script>", "a & b", "]]>", "<!-- x", "\u202e"]
)
def test_no_name_of_the_file_becomes_markup(hostile):
    svg = drawn(hostile, f"unit {hostile.replace('/', '')}")
    root = ET.fromstring(svg)  # noqa: S314 - what we made ourselves
    assert {node.tag for node in root.iter()} <= {
        f"{SVG}{tag}"
        for tag in (
            *("svg", "title", "defs", "pattern", "rect", "line", "path", "g", "clipPath"),
            *("circle", "text"),
        )
    }
    assert "<script" not in svg
    assert "\u202e" not in svg


def test_the_bar_is_as_long_as_it_says():
    svg = drawn()
    wall = re.search(r'd="M[\d.]+ [\d.]+l([\d.]+) 0 [^"]*" fill="none" stroke="#26221d"', svg)
    pixels_a_metre = float(wall[1]) / 20
    said = next(t for t in texts(svg) if re.fullmatch(r"[\d.]+ m", t))
    quarters = re.findall(r'width="([\d.]+)" height="6.0"', svg)
    assert sum(map(float, quarters)) == pytest.approx(float(said[:-2]) * pixels_a_metre, abs=0.3)


def test_a_site_without_an_outline_has_nothing_to_draw(tmp_path):
    text = b"meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\n"
    with pytest.raises(NothingToDraw):
        draw(CHECKER.open(text, "a").workings, ())
    file = tmp_path / "a.site.yaml"
    file.write_bytes(text)
    plan = tmp_path / "a.svg"
    done = CliRunner().invoke(cli, ["workings", str(file), "--plan", str(plan)])
    assert done.exit_code == 2
    assert "outline_m" in done.output
    assert not plan.exists()


def test_the_command_writes_the_drawing_whole(tmp_path):
    file, plan = tmp_path / "a.site.yaml", tmp_path / "a.svg"
    file.write_text(HOUSE.format(name="House", unit="loft"))
    done = CliRunner().invoke(cli, ["workings", str(file), "--plan", str(plan), "--band", "5"])
    assert done.exit_code == 0
    ET.fromstring(plan.read_text(encoding="utf-8"))  # noqa: S314
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.site.yaml", "a.svg"]


def test_a_radio_of_unknown_power_is_said_to_be_left_out():
    text = HOUSE.format(name="House", unit="loft").replace(
        ", radiated_dbm: 15}}}\nback", "}}}\nback"
    )
    w = CHECKER.open(text.encode(), "a").workings
    assert "power_dbm" in " ".join(texts(draw(w, ())))


# --- colours --------------------------------------------------------------------------------------


def oklab(colour: str) -> tuple[float, float, float]:
    """Return OKLab of an sRGB colour: the forward matrices of Ottosson (2020)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    long = math.cbrt(0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b)
    medium = math.cbrt(0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b)
    short = math.cbrt(0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b)
    return (
        0.2104542553 * long + 0.7936177850 * medium - 0.0040720468 * short,
        1.9779984951 * long - 2.4285922050 * medium + 0.4505937099 * short,
        0.0259040371 * long + 0.7827717662 * medium - 0.8086757660 * short,
    )


# Machado, Oliveira and Fernandes (2009), severity 1.0, on linear sRGB.
COLOUR_BLIND = {
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}


def as_seen(colour: str, matrix) -> str:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    seen = [sum(m * c for m, c in zip(row, linear, strict=True)) for row in matrix]
    held = [min(max(c, 0), 1) for c in seen]
    coded = [12.92 * c if c <= 0.0031308 else 1.055 * c ** (1 / 2.4) - 0.055 for c in held]
    return "#" + "".join(f"{round(255 * c):02x}" for c in coded)


def test_the_colours_are_equally_far_from_one_to_the_next():
    labs = [oklab(c) for c in colours(13)]
    steps = [math.dist(a, b) for a, b in itertools.pairwise(labs)]
    assert max(steps) / min(steps) < 1.1  # rounding to 8 bits, and what a screen can show


def test_the_colours_only_get_darker():
    lightness = [oklab(c)[0] for c in colours(13)]
    assert all(a - b > 0.03 for a, b in itertools.pairwise(lightness))


@pytest.mark.parametrize("kind", COLOUR_BLIND)
def test_colour_blind_readers_can_tell_the_colours_apart(kind):
    labs = [oklab(as_seen(c, COLOUR_BLIND[kind])) for c in colours(13)]
    steps = [math.dist(a, b) for a, b in itertools.pairwise(labs)]
    # Two per cent of OKLab's lightness is about the least that people notice.
    assert min(steps) > 0.03
    assert all(a[0] > b[0] for a, b in itertools.pairwise(labs))


# --- areas above a level --------------------------------------------------------------------------


def polygon_area(corners) -> float:
    pairs = zip(corners, (*corners[1:], corners[0]), strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


@pytest.mark.parametrize(("step", "off"), [(1.0, 0.02), (0.25, 0.002)])
def test_the_area_above_a_level_comes_to_that_of_the_circle(step, off):
    axis = np.arange(-10, 10 + step, step)
    x, y = np.meshgrid(axis, axis)
    level = 7.3 - np.hypot(x, y)
    area = sum(map(polygon_area, areas_above(level, 0.0))) * step**2
    assert area == pytest.approx(math.pi * 7.3**2, rel=off)
    length = sum(math.dist(a, b) for a, b in lines_at(level, 0.0)) * step
    assert length == pytest.approx(2 * math.pi * 7.3, rel=off)


@given(st.lists(st.lists(st.integers(-3, 3), min_size=4, max_size=4), min_size=3, max_size=5))
def test_the_polygons_never_overlap_and_cover_full_squares(rows):
    values = np.array(rows, dtype=float)
    squares = (values.shape[0] - 1) * (values.shape[1] - 1)
    area = sum(map(polygon_area, areas_above(values, 0.5)))
    rest = sum(map(polygon_area, areas_above(-values, -0.5)))
    above = values >= 0.5
    saddles = sum(
        above[r, c] == above[r + 1, c + 1] != above[r, c + 1] == above[r + 1, c]
        for r in range(values.shape[0] - 1)
        for c in range(values.shape[1] - 1)
    )
    if not saddles:  # where corners alternate, both sides are drawn joined
        assert area + rest == pytest.approx(squares)


@pytest.mark.parametrize("name", ["\\uFFFE", "\\uFFFF", "\\uFDD0", "\\U0001FFFE"])
def test_a_name_that_xml_cannot_hold_is_spelt_out_in_the_drawing(name):
    """XML 1.0, section 2.2, leaves U+FFFE and U+FFFF out of its characters."""
    svg = drawn(name=f"a{name}b", unit=f"c{name}d")
    assert name[2:].lower() in "".join(texts(svg)).lower()


def test_a_level_without_an_outline_is_drawn_around_its_units(tmp_path) -> None:
    path = tmp_path / "a.site.yaml"
    path.write_text(
        "meshlint: 1\nsite: {name: Bare, country: GB, surroundings: home}\nprimary: hall\n"
        "levels: {ground: {}}\nunits:\n"
        "  hall: {at: {level: ground, x_m: 2, y_m: 4}, radios: {mid: {band: 5, channel: 36}}}\n"
        "  loft: {at: {level: ground, x_m: 12, y_m: 4}, radios: {mid: {band: 5, channel: 36}}}\n"
        "backhaul: {loft: {from: loft, to: hall, over: radio, from_radio: mid, to_radio: mid}}\n"
    )
    plan = tmp_path / "plan.svg"
    done = CliRunner().invoke(cli, ["workings", str(path), "--plan", str(plan)])
    assert done.exit_code == 0, done.output
    drawn = plan.read_text()
    assert "16 by 6 m around its units: no outline is drawn" in drawn
    assert all(f">{words}<" in drawn for words in ("hall", "loft", "36"))
