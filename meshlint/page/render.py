"""The page as text: data into templates, everything from the file escaped and made visible.

Jinja2 is imported here alone. An undefined name is an error; nothing of the file can become markup.
"""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from meshlint.page import pictures
from meshlint.page.client import client_part, failures
from meshlint.page.figures import Told
from meshlint.page.installer import installer_part
from meshlint.page.review import review_part
from meshlint.report.plain import visible
from meshlint.report.plan import draw
from meshlint.report.plan_sheet import NothingToDraw

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.workings.fact import Fact
    from meshlint.workings.site_workings import Workings

Reader = Literal["client", "installer", "review"]
READERS: tuple[Reader, ...] = ("client", "installer", "review")

_TEMPLATES = Path(__file__).parent / "templates"


def page(
    workings: Workings,
    facts: Mapping[str, Fact],
    result: SiteResult,
    readers: Sequence[Reader],
    day: date,
    usual: Workings | None = None,
) -> str:
    """Return the page for the readers, as one HTML file that asks nothing of anybody.

    `usual` are workings with the file's gaps at usual values: the client is told figures by these,
    and that they are. Settings and findings are the file's own.
    """
    told = Told(workings, facts)
    assumed = told if usual is None else Told(usual, facts)
    # One drawing serves all parts, and that for review is of what the file states.
    drawn = told if "review" in readers else assumed
    style = (_TEMPLATES / "page.css").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    # Findings carry the names of rules, which the client's drawing does without.
    marks = () if "client" in readers else result.open_findings
    everything = {
        "about": workings.site.about,
        "primary": workings.site.primary,
        "readers": readers,
        "day": day.isoformat(),
        "style": Markup(style),  # noqa: S704 - our own file
        "digest": digest,
        "is_assumed": usual is not None,
        "levels": _levels(drawn.workings, marks),
        "branches": pictures.branches(drawn),
        "tree": Markup(pictures.tree_picture(pictures.branches(drawn))),  # noqa: S704 - escaped there
        "areas": tuple(_areas(drawn)),
        "client": client_part(assumed, result) if "client" in readers else None,
        "installer": installer_part(told, result) if "installer" in readers else None,
        "review": review_part(told, result) if "review" in readers else None,
    }
    if "review" in readers:
        rows = pictures.airs(told)
        everything |= {
            "airs": rows,
            "air_parts": pictures.AIR_PARTS,
            "airtime": Markup(pictures.airtime_picture(rows)),  # noqa: S704 - escaped there
            "channels": Markup(pictures.channel_picture(told)),  # noqa: S704 - escaped there
            "failures": failures(told),
        }
    return _environment().get_template("page.html").render(everything)


def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=lambda value: visible(value) if type(value) is str else value,
    )


def _levels(workings: Workings, marks: Sequence[Finding]) -> Markup | None:
    try:
        drawn = draw(workings, marks)
    except NothingToDraw:
        return None
    named = 'role="img" aria-label="The levels, drawn to scale; the tables have the numbers" '
    return Markup(drawn.replace("<svg ", f'<svg class="levels" {named}', 1))  # noqa: S704 - escaped there


def _areas(told: Told) -> list[tuple[str, tuple[object, ...]]]:
    facts = ("area.level", "area.target_dbm", "area.worst_dbm", "area.uncovered_percent")
    return [
        (told.label("area", key), tuple(told.figure(fact, key) for fact in facts))
        for key in told.keys("area")
    ]
