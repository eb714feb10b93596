"""What commands open before they answer: a site, or the rules of the current folder."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.run import Checker
from meshlint.site.files import STANDARD_INPUT, read_bytes, read_standard_input
from meshlint.site.problem import InputError
from meshlint.terminal import Now, refuse

if TYPE_CHECKING:
    from meshlint.lint.card import Rulebook
    from meshlint.run import OpenSite


def opened(checker: Checker, path: str) -> OpenSite:
    """Return the site in a file, held to its policy, or end the run with what is wrong."""
    Now.file = path
    try:
        data = read_standard_input() if path == STANDARD_INPUT else read_bytes(Path(path), path)
        return checker.open(data, path)
    except InputError as error:
        refuse(str(error))


def rules_here() -> Rulebook:
    """Return every rule of the current folder, its repository's own too, or end the run."""
    checker = Checker(date.min)
    try:
        return checker.all_rules(checker.policy_of(STANDARD_INPUT))
    except InputError as error:
        refuse(str(error))
