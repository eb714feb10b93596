"""What tests of the workings and of the rules share: site text in, facts or findings out."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

import meshlint
from meshlint.datafiles import FACT_INDEX, PACK
from meshlint.lint.card import load_rulebook
from meshlint.packs import written
from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues, load_site
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Subject, Workings
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meshlint.lint.card import Rulebook
    from meshlint.lint.finding import SiteResult
    from meshlint.workings.fact import FactValue

TODAY = date(2026, 11, 25)

# Tests start the program in folders of their own. Where they import it from the checkout, as
# `python -m pytest` does with nothing installed, what they start has to find the same one.
CHECKOUT = Path(__file__).parents[1]
if Path(meshlint.__file__ or "").parents[1] == CHECKOUT:
    others = filter(None, [os.environ.get("PYTHONPATH")])
    os.environ["PYTHONPATH"] = os.pathsep.join([str(CHECKOUT), *others])
    if not (PACK.exists() and FACT_INDEX.exists()):
        list(written())  # as installing does; without them each start of the program takes a second

# Hypothesis fails a test whose one example takes over 200 ms, which on a busy machine any may. How
# fast the program is, the benchmarks measure.
# Examples are the same in every run, so that a change fails for what it changed;
# `--hypothesis-profile=explore` draws new ones.
settings.register_profile("untimed", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, derandomize=False)
settings.register_profile("quick", parent=settings.get_profile("untimed"), max_examples=20)


def pytest_configure(config: pytest.Config) -> None:
    """Draw a fifth of the examples where somebody waits for the answer; CI draws them all."""
    if config.getoption("--hypothesis-profile") is None:
        in_a_hurry = "not slow" in (config.option.markexpr or "")
        settings.load_profile("quick" if in_a_hurry else "untimed")


class Worked:
    """The workings of one site text, asked by qualified fact and subject key."""

    def __init__(self, text: str) -> None:
        self.site, self.document = load_site(text.encode(), "a.site.yaml", Catalogues())
        self.workings = Workings(self.site)

    def subjects(self, scope: str) -> dict[str, Subject]:
        return {subject.key: subject for subject in subjects(self.workings, scope)[0]}

    def missing(self, scope: str) -> list[str]:
        """Return the inputs without which not all subjects of the scope can be named."""
        return [wanted.key for wanted in subjects(self.workings, scope)[1]]

    def __call__(self, fact: str, key: str) -> FactValue | Unknown:
        subject = self.subjects(fact.partition(".")[0])[key]
        return self.workings.value(FACTS[fact], subject)

    def wants(self, fact: str, key: str) -> list[str]:
        """Return where the inputs stand that would settle an unknown fact; none if it is known."""
        value = self(fact, key)
        if not isinstance(value, Unknown):
            return []
        return ["/".join(map(str, wanted.pointer)) for wanted in value.inputs]


@pytest.fixture
def worked() -> Callable[[str], Worked]:
    return Worked


@pytest.fixture
def check_text() -> Callable[..., SiteResult]:
    """Check a site text by the shipped cards, or others, on a fixed day."""

    def check(text: str, rules: Rulebook | None = None, today: date = TODAY) -> SiteResult:
        result = check_bytes(
            text.encode(), "a.site.yaml", rules or shipped_rules(), Catalogues(), today
        )
        assert result.problems == ()
        return result

    return check


@pytest.fixture
def rulebook(tmp_path: Path) -> Callable[..., Rulebook]:
    """Load cards from texts, the first from `first.yaml`, the next from `second.yaml`."""

    def load(*cards: str) -> Rulebook:
        paths = [tmp_path / f"{name}.yaml" for name in ("first", "second", "third")]
        for path, card in zip(paths, cards, strict=False):
            path.write_text(card)
        return load_rulebook(paths[: len(cards)], FACTS)

    return load


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep what tests have worked out away from the user's own cache."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MESHLINT_CACHE_DIR", str(tmp_path_factory.mktemp("cache")))
        patch.setenv("MESHLINT_CACHE_KEY", "a key for tests alone")
        yield
