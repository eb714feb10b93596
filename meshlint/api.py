"""What `import meshlint` offers a program: a check of one site, as a file or as text.

What is returned are the records that every report is made from, and a notebook shows them as the
Markdown report.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

from msgspec.structs import asdict

from meshlint.lint.finding import SiteResult
from meshlint.run import Checker
from meshlint.site.files import read_bytes
from meshlint.site.problem import InputError

_A_FILE = "text.site.yaml"


class Result(SiteResult, frozen=True, array_like=True):
    """All that a check says about one site.

    `findings` holds faults and cautions, accepted or not; `open_findings`, `failing`, `cautions`
    and `accepted` are parts of them. `problems` says why a file could not be understood, and
    `not_judged` which inputs are missing; what is unknown is never a pass.
    """

    def to_text(self) -> str:
        """Return the report that `meshlint check` prints."""
        from meshlint.report.lines import Look
        from meshlint.report.text import render

        return render([self], Look())

    def to_markdown(self) -> str:
        """Return the report as Markdown."""
        from meshlint.report.markdown import render

        return render([self])

    def _repr_markdown_(self) -> str:
        """Return what a notebook shows."""
        return self.to_markdown()


def check(path: str | Path, *, today: date | None = None) -> Result:
    """Return what the rules say of one site file, held to the policy of its place.

    `today` is the day on which waivers are judged; without one it is the reader's own day. A file
    that cannot be understood raises nothing: its `problems` say what is wrong and where.
    """
    shown = str(path)
    try:
        data = read_bytes(Path(path), shown)
    except InputError as error:
        return Result(path=shown, problems=error.problems)
    return _checked(data, shown, today)


def check_text(text: str, path: str | Path = _A_FILE, *, today: date | None = None) -> Result:
    """Return what the rules say of the text of a site file.

    `path` is where the file would lie, which need not be there: it decides on policy and catalogue,
    and stands in every place. Without one, that is the current folder. `today` is as for `check`.
    """
    return _checked(text.encode(errors="surrogatepass"), str(path), today)


def _checked(data: bytes, path: str, today: date | None) -> Result:
    day = today or date.today()  # noqa: DTZ011 - the reader's own day
    return Result(**asdict(Checker(day).check(data, path)))
