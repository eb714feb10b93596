"""What the sites of a class have in common, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from meshlint.report.plain import visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

_MOST = 5


class Sibling(Protocol):
    """A site of a class, by its file and its values."""

    @property
    def path(self) -> str:
        """Return the site's file."""

    @property
    def values(self) -> Mapping[str, str]:
        """Return its values by path."""


def as_text(name: str, sites: Sequence[Sibling], usual: Mapping[str, tuple[str, int, int]]) -> str:
    """Return a class's shared values; `usual` has, by path, value, how many have it, state it."""
    lines = _lines(name, sites, usual)
    return "".join(f"{visible(line)}\n" for line in lines)


def _lines(
    name: str, sites: Sequence[Sibling], usual: Mapping[str, tuple[str, int, int]]
) -> Iterator[str]:
    yield f"{name}: {len(sites)} sites"
    shared = {
        path: entry for path, entry in usual.items() if entry[2] > 1 and entry[1] * 2 > entry[2]
    }
    others = {
        path: [site for site in sites if site.values.get(path, value) != value]
        for path, (value, _, _) in shared.items()
    }
    silent = {path: [site for site in sites if path not in site.values] for path in shared}

    def rank(path: str) -> tuple[int, int]:
        odd, without = len(others[path]), len(silent[path])
        leaves_out = 0 < without < len(sites) - without
        return (0 if odd else 1 if leaves_out else 2, odd or without)

    # What differs is what a reader came for, then what few leave out; the fewer, the likelier a
    # slip.
    for path in sorted(shared, key=rank):
        value, agreeing, stating = shared[path]
        yield f"  {agreeing} of {stating}  {path} = {value}"
        for site in others[path][:_MOST]:
            yield f"      {site.path} has {site.values[path]}"
        if len(others[path]) > _MOST:
            yield f"      and {len(others[path]) - _MOST} more"
        if silent[path]:
            yield f"      {_left_out(silent[path], of=len(sites))}"
    yield ""


def _left_out(without: Sequence[Sibling], of: int) -> str:
    """Return who leaves a value out; only their number where most of the class do."""
    number = len(without)
    if number * 2 >= of:
        return f"{number} of {of} sites leave it out"
    named = ", ".join(site.path for site in without[:_MOST])
    more = f" and {number - _MOST} more" if number > _MOST else ""
    return f"{named}{more} {'leaves' if number == 1 else 'leave'} it out"
