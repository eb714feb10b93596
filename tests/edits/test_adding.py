"""Units added to a site's file, every other byte of it kept."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from meshlint.cli import cli
from meshlint.site.load import Catalogues, load_site

SITE = """\
meshlint: 1   # kept
site: {name: Mill House, country: GB}
primary: gate
levels:
  ground:
    rooms:
      bar: {at_m: [0, 0], size_m: [4, 6]}
      hall: {parts: [{at_m: [4, 0], size_m: [8, 2]}, {at_m: [4, 2], size_m: [2, 8]}]}
  first: {rooms_as: ground}
units:
  gate: {like: "three bands, 802.11ax", at: {level: ground, x_m: 1, y_m: 1}}
  # the last unit

clients: {}
"""


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def add(text: str, *words: str) -> Result:
    Path("a.site.yaml").write_bytes(text.encode())
    return CliRunner().invoke(cli, ["new", "a.site.yaml", "--add", "unit", *words])


def after() -> str:
    return Path("a.site.yaml").read_bytes().decode()


LOFT = '  loft: {like: "5 GHz", at: {level: first, x_m: 2, y_m: 3}}'
LINK = "loft to gate: {from: loft, to: gate, over: radio, from_radio: mid, to_radio: mid}"


@pytest.mark.parametrize("line_break", ["\n", "\r\n"])
def test_a_unit_and_its_link_are_put_in_and_all_else_is_kept(line_break: str) -> None:
    text = SITE.replace("\n", line_break)
    done = add(text, "--units", "loft in first bar: 5 GHz", "--backhaul", "radio at 5 GHz")
    assert done.exit_code == 0, done.output
    (unit,) = (line for line in text.splitlines(keepends=True) if "gate: {like" in line)
    expected = text.replace(unit, unit + LOFT + line_break).replace(
        "clients: {}", f'clients: {{}}{line_break}backhaul: {{"{LINK[:12]}": {LINK[14:]}}}'
    )
    assert after() == expected.replace('"loft to gate"', "loft to gate")


def test_a_unit_in_a_bent_room_stands_inside_it() -> None:
    assert add(SITE, "--units", "loft in ground hall", "--backhaul", "-").exit_code == 0
    site = load_site(after().encode(), "x", Catalogues())[0]
    at = site.units["loft"].at
    assert at is not None
    assert (4 < at.x_m < 12 and at.y_m < 2) or (4 < at.x_m < 6 and 2 < at.y_m < 10)


def test_nobody_is_taken_to_have_scanned_at_a_new_unit() -> None:
    heard = SITE + "neighbours: [{heard_at: gate, band: 5, channel: 36, level_dbm: -70}]\n"
    assert add(heard, "--units", "loft", "--backhaul", "-").exit_code == 0
    assert "loft: {scan_made: false}" in after()
    assert add(SITE, "--units", "loft", "--backhaul", "-").exit_code == 0
    assert "scan_made" not in after()


def test_cable_routes_and_links_stand_next_to_those_that_are_there() -> None:
    text = SITE + (
        "cable_routes:\n  - {between: [gate, den], state: possible}\n"
        "backhaul:\n  loft to gate: {from: den, to: gate, over: cable}\n"
    )
    text = text.replace("  # the last unit", "  den: {}")
    said = ("--units", "loft", "--backhaul", "loft to gate by cable, 9 m; loft to den laid")
    assert add(text, *said).exit_code == 0
    assert "  - {between: [loft, den], state: laid}\n" in after()
    assert "  loft to gate 2: {from: loft, to: gate, over: cable, length_m: 9}\n" in after()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "--units: this has to be said, as in '--units loft'"),
        (("--units", "gate"), "--units: 'gate' is a unit of this site already"),
        (("--units", "loft in cellar"), "--units: there is no 'cellar'"),
        (("--units", "loft: two bands", "--backhaul", "radio at 6 GHz"), "no 6 GHz"),
        (("--units", "loft", "--clients", "6 phones"), "--add and --clients are not for one call"),
    ],
)
def test_what_cannot_be_added_changes_nothing(words: tuple[str, ...], told: str) -> None:
    done = add(SITE, *words)
    assert done.exit_code == 2
    assert told in done.output
    assert after() == SITE


def test_a_unit_is_added_to_no_file_that_is_not_understood() -> None:
    done = add("meshlint: 1\n", "--units", "loft")
    assert done.exit_code == 2
    assert "a.site.yaml:1:1" in done.output
