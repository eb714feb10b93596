"""One check from a path to a result: what the command line and the Python interface share."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from meshlint.datafiles import data_folder
from meshlint.lint.card import shipped_rulebook
from meshlint.lint.engine import check_site
from meshlint.lint.finding import SiteResult
from meshlint.site.load import load_site
from meshlint.site.problem import InputError
from meshlint.workings.catalogue import FACTS

if TYPE_CHECKING:
    from datetime import date

    from meshlint.lint.card import Rulebook
    from meshlint.site.load import Catalogues


@cache
def shipped_rules() -> Rulebook:
    """Return the cards that come with the program."""
    return shipped_rulebook(sorted(data_folder("rules").glob("*.yaml")), FACTS)


def check_bytes(
    data: bytes, path: str, rules: Rulebook, catalogues: Catalogues, today: date
) -> SiteResult:
    """Return what the rules say of one file; a file that cannot be read gives its problems."""
    try:
        site, document = load_site(data, path, catalogues)
    except InputError as error:
        return SiteResult(path=path, problems=error.problems)
    return check_site(rules, site, document, today)
