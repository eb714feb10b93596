"""Site files as tests write them: each states what its test is about, and nothing else.

Units, links and radios are the inside of flow-style maps, `band: 5, channel: 36`, so that a test
reads like the file that an author would write. What a builder does not ask for goes into `more`,
whole sections as they stand in a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.site.load import Catalogues, load_site
from meshlint.workings.site_workings import Workings

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    Place = tuple[float, float]


def site(
    units: Mapping[str, str],
    links: Mapping[str, str] | None = None,
    more: str = "",
    **about: str,
) -> str:
    """Return a site of these units, the first of them its primary.

    `about` are keys of `site`, such as `country`; an empty one is left out, as is `backhaul` where
    `links` is None.
    """
    said = {"name": "A", **about}
    head = ", ".join(f"{key}: {value}" for key, value in said.items() if value)
    parts = [
        f"meshlint: 1\nsite: {{{head}}}\nprimary: {next(iter(units))}\n",
        _rows("units", units),
    ]
    if links is not None:
        parts.append(_rows("backhaul", links))
    return "".join([*parts, more])


def _rows(section: str, entries: Mapping[str, str]) -> str:
    if not entries:
        return f"{section}: {{}}\n"
    return f"{section}:\n" + "".join(f"  {name}: {{{text}}}\n" for name, text in entries.items())


def with_radios(**each: str) -> str:
    """Return the radios of a unit: `radios: {mid: {band: 5, channel: 36}}`."""
    return f"radios: {{{', '.join(f'{name}: {{{text}}}' for name, text in each.items())}}}"


def stands_at(x_m: float, y_m: float = 0, height_m: float | None = None) -> str:
    """Return where a unit stands, its height only where it is stated."""
    height = "" if height_m is None else f", height_m: {height_m}"
    return f"at: {{x_m: {x_m}, y_m: {y_m}{height}}}"


def over_radio(from_unit: str, to_unit: str, radio: str = "", more: str = "") -> str:
    """Return a radio link, by the radio of that name at both ends where one is given."""
    ends = f", from_radio: {radio}, to_radio: {radio}" if radio else ""
    return f"from: {from_unit}, to: {to_unit}, over: radio{ends}{more}"


def uplinks(parents: Mapping[int, int], radio: str = "", more: str = "") -> dict[str, str]:
    """Return a radio link `l1` from unit `u1` to its parent, and so on for each that has one."""
    return {f"l{n}": over_radio(f"u{n}", f"u{up}", radio, more) for n, up in parents.items()}


def one_radio(radio: str, country: str = "GB", unit: str = "", more: str = "", **about: str) -> str:
    """Return a unit `desk` with one radio `a`; `unit` is what else it states, with its comma."""
    return site({"desk": unit + with_radios(a=radio)}, None, more, country=country, **about)


def numbered(units: Iterable[str]) -> dict[str, str]:
    """Return units under the names u0, u1 and so on."""
    return {f"u{n}": text for n, text in enumerate(units)}


def workings_of(text: str) -> Workings:
    """Return the workings of a site text."""
    return Workings(load_site(text.encode(), "a.site.yaml", Catalogues())[0])
