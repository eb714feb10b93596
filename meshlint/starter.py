"""A first site file: small, commented, and ready to check."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from meshlint.report.plain import visible
from meshlint.site.scalars import in_double_quotes

if TYPE_CHECKING:
    from collections.abc import Iterator

SCHEMA_NAME = "site.schema.json"
"""The file next to a site by which editors know its keys."""

_HEAD = """\
# yaml-language-server: $schema={schema}
# {name}: what the mesh is, for meshlint. Check it with: meshlint check {path}
# Leave out what you do not know; meshlint then says what it could not judge for want of it.
meshlint: 1
site:
  name: {quoted}
{country}  surroundings: office        # home, office, commercial, corridor, industrial, outdoors
internet_lines:
  main: {{enters_at: {first}, down_mbps: 500, up_mbps: 100}}
primary: {first}                # the unit that meets the internet line
units:
"""

_UNIT = """\
  {unit}:
    at: {{x_m: {x}, y_m: 0}}      # metres on a plan of your own; where the unit stands
    radios:
{radios}"""

_RADIO = (
    "      {name} {{band: {band}, channel: {channel}, width_mhz: {width}, power_dbm: {power}, "
    "antenna_gain_dbi: {gain}, carries: [{carries}]}}\n"
)

_CABLE = (
    "  {unit} to {first}: "
    "{{from: {unit}, to: {first}, over: cable, category: 6, length_m: {metres}}}\n"
)
_OVER_RADIO = (
    "  {unit} to {first}: "
    "{{from: {unit}, to: {first}, over: radio, from_radio: high, to_radio: high}}\n"
)

_TAIL = """\
# Where a cable could run, such as {{between: [unit-1, unit-2], length_m: 30, state: possible}}
cable_routes: []
clients:
  visitors: {{count: 20, near: {first}, use: data, roams: true}}
"""


_APART_M = 18
_CORDS_M = 12
"""What a cable takes beyond the straight line, up one wall and down another."""


def starter(
    name: str, path: str, country: str | None, units: int, backhaul: Literal["cable", "radio"]
) -> str:
    """Return the text of a site file with so many units in a row, every second channel plan."""
    names = [f"unit-{number}" for number in range(1, units + 1)]
    first = names[0]
    country_line = (
        f"  country: {country}                 # ISO 3166-1\n"
        if country
        else "  # country: GB              # ISO 3166-1; decides which channels are allowed\n"
    )
    text = _HEAD.format(
        schema=SCHEMA_NAME,
        name=visible(" ".join(name.split())),
        path=visible(path),
        quoted=in_double_quotes(name),
        country=country_line,
        first=first,
    )
    for position, unit in enumerate(names):
        text += _UNIT.format(
            unit=unit,
            x=position * _APART_M,
            radios="".join(_RADIO.format(**radio) for radio in _radios(position, backhaul)),
        )
    if units > 1:
        text += "backhaul:\n"
        line = _CABLE if backhaul == "cable" else _OVER_RADIO
        text += "".join(
            line.format(unit=unit, first=first, metres=_CORDS_M + position * _APART_M)
            for position, unit in enumerate(names[1:], 1)
        )
    return text + _TAIL.format(first=first)


def _radios(position: int, backhaul: str) -> Iterator[dict[str, object]]:
    """Yield a unit's radios: channels in turn, so that units in hearing seldom share one."""
    low, mid = (1, 6, 11)[position % 3], (36, 40, 44, 48)[position % 4]
    yield _radio("low: ", 2.4, low, 20, 14, 3, "clients")
    yield _radio("mid: ", 5, mid, 20, 18, 4, "clients")
    if backhaul == "radio":
        yield _radio("high:", 6, 5, 80, 16, 5, "backhaul")


def _radio(
    name: str, band: float, channel: int, width: int, power: int, gain: int, carries: str
) -> dict[str, object]:
    return {
        "name": name,
        "band": f"{band:g}",
        "channel": channel,
        "width": width,
        "power": power,
        "gain": gain,
        "carries": carries,
    }
