"""The usual ranges of what a site leaves out, as text and as JSON."""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any

from meshlint.report.plain import harmless_json, visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.usual.fillings import Gap
    from meshlint.workings.governance.usual_ranges import UsualRange

_WIDTH = 80


def as_text(path: str, country: str | None, gaps: Sequence[Gap]) -> str:
    """Return every range once, with its source and the inputs that it is taken for."""
    return "".join(f"{visible(line)}\n" for line in _lines(path, country, gaps))


def as_json(path: str, country: str | None, gaps: Sequence[Gap]) -> str:
    """Return the same as one JSON object, with an entry for each input."""
    report: dict[str, Any] = {
        "schema_version": 1,
        "path": path,
        "usual": [
            {
                "at": _at(gap),
                "input": gap.range.words,
                "low": gap.range.low,
                "usual": gap.range.usual,
                "high": gap.range.high,
                "unit": gap.range.unit,
                "held_to_law_of": country if _held_to_law(gap) else None,
                "source": gap.range.source,
            }
            for gap in gaps
        ],
    }
    return harmless_json(json.dumps(report, indent=2, ensure_ascii=False)) + "\n"


def _lines(path: str, country: str | None, gaps: Sequence[Gap]) -> Iterator[str]:
    if not gaps:
        yield f"{path} states every input that has a usual range."
        return
    number = "1 input" if len(gaps) == 1 else f"{len(gaps)} inputs"
    yield f"{path} leaves out {number} with a usual range:"
    taken: dict[UsualRange, list[Gap]] = {}
    for gap in gaps:
        taken.setdefault(gap.range, []).append(gap)
    for usual, here in taken.items():
        yield ""
        law = f", never above the law of {country}" if country and _held_to_law(here[0]) else ""
        yield f"{usual.words}: {_values(usual)}{law}"
        yield from _wrapped("source: ", usual.source)
        yield from _wrapped("for: ", ", ".join(map(_at, here)))


def _values(usual: UsualRange) -> str:
    if usual.low == usual.high:
        return usual.span
    return f"{usual.span}, usually {f'{usual.usual} {usual.unit}'.strip()}"


def _held_to_law(gap: Gap) -> bool:
    """Return whether the law bounds what is taken: power gives way, the antenna's gain does not."""
    return gap.range.capped and gap.pointer[-1] == "power_dbm"


def _at(gap: Gap) -> str:
    return "/".join(map(str, gap.pointer))


def _wrapped(head: str, text: str) -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=f"  {head}",
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )
