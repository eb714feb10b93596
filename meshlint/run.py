"""The one door to a site: bytes in, a site held to the policy of its place out, and its result.

Every command opens a site here, so that all of them see the same limits, catalogue, radars, rules
and day.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from meshlint.lint.card import joined, load_rulebook
from meshlint.lint.card_cache import shipped_rulebook
from meshlint.lint.engine import check_site
from meshlint.lint.finding import SiteResult
from meshlint.lint.policy import (
    Settings,
    find_policy,
    read_policy,
    shown_from_here,
    under_settings,
)
from meshlint.site.files import STANDARD_INPUT
from meshlint.site.limits import LIMITS, Limits
from meshlint.site.load import Catalogues, catalogue_of, load_site, read_site, site_of
from meshlint.site.problem import InputError
from meshlint.site.references import mapping
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Workings, same_building

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import date

    from meshlint.lint.accepted import AcceptedList
    from meshlint.lint.card import Card, Rulebook
    from meshlint.lint.choice import Choice
    from meshlint.lint.engine import SiteRun
    from meshlint.lint.finding import Listed, Severity
    from meshlint.lint.policy import CardFolder, Policy
    from meshlint.site.model import Site
    from meshlint.site.source import Document


NO_SETTINGS = Settings()
"""What holds where there is no policy: one object, as its identity names it."""


@cache
def shipped_rules() -> Rulebook:
    """Return the cards that come with the program."""
    return shipped_rulebook(FACTS)


def check_bytes(
    data: bytes, path: str, rules: Rulebook, catalogues: Catalogues, today: date
) -> SiteResult:
    """Return what the rules say of one file; a file that cannot be read gives its problems."""
    try:
        site, document = load_site(data, path, catalogues)
        return check_site(rules, Workings(site, today), document)
    except InputError as error:
        return SiteResult(path=path, problems=error.problems)


class OpenSite(Struct, frozen=True, eq=False):
    """A site as it is held under the policy of its place, on the day of the run."""

    document: Document
    policy: Policy | None
    settings: Settings
    rules: Rulebook
    workings: Workings

    @property
    def site(self) -> Site:
        """Return the site itself: the policy's catalogue and radars are in it."""
        return self.workings.site


def cards_for(paths: Iterable[str], today: date) -> dict[str, Card]:
    """Return every card that findings on the files may come from, by name."""
    checker = Checker(today)
    cards = {card.id: card for card in shipped_rules().cards}
    for folder in {str(Path(path).parent) for path in paths}:
        try:
            policy = checker.policy_of(str(Path(folder, "a.site.yaml")))
            rules = checker.all_rules(policy)
        except InputError:
            continue  # every site under it has said so
        cards.update((card.id, card) for card in rules.cards)
    return cards


class Checker:
    """Checks files, each held to the policy of its place; reads every shared file once."""

    def __init__(
        self,
        today: date,
        fail_at: Severity | None = None,
        *,
        apart: bool = False,
        choice: Choice | None = None,
        usual: bool = True,
        verdicts: bool = False,
    ) -> None:
        self.verdicts = verdicts
        """Whether results list what became of each rule for each subject."""
        self.usual = usual
        """Whether what is open for lack of input is judged by usual ranges as well."""
        self.choice = choice
        """Which rules are looked at, where not all."""
        self.today = today
        self.fail_at = fail_at
        self.apart = apart
        """Whether findings of one cause are told one by one, as a list of them needs them."""
        self.catalogues = Catalogues()
        self._found: dict[str, Path | None] = {}
        self._policies: dict[Path, Policy | InputError] = {}
        self._rules: dict[Path, Rulebook | InputError] = {}
        self._held: dict[tuple[int, int], Rulebook] = {}
        self._lists: dict[Path, AcceptedList | InputError] = {}

    def check(self, data: bytes, path: str) -> SiteResult:
        """Return what holds of one file; what cannot be understood is told in the result."""
        try:
            return self.judge(self.open(data, path))
        except InputError as error:
            return SiteResult(path=path, problems=error.problems)

    def open(self, data: bytes, path: str, beside: OpenSite | None = None) -> OpenSite:
        """Return the site that a file's bytes describe; raise `InputError`.

        `path` is the file's path as the caller knows it, or `-` for standard input. `beside` is
        another state of the site: where both have one building, what rests on it is shared.
        """
        document = read_site(data, path, self._limits(path), self._catalogue_of)
        policy = self.policy_of(path)
        settings = self.settings_of(document)
        rules = self.rules_of(policy, settings)
        site = self._site_of(document, settings)
        if beside is not None and same_building(site, beside.site):
            site = replace(site, levels=beside.site.levels)
            workings = Workings(site, self.today, beside.workings)
        else:
            workings = Workings(site, self.today)
        return OpenSite(document, policy, settings, rules, workings)

    def judge(self, opened: OpenSite) -> SiteResult:
        """Return what the rules say of a site.

        Raises `InputError` for a bad accepted list, and for a card that cannot be evaluated.
        """
        result = check_site(
            opened.rules,
            opened.workings,
            opened.document,
            self.accepted_of(opened),
            self.failing_severity(opened.settings),
            self.settling(opened.settings),
            verdicts=self.verdicts,
        )
        if self.choice is None:
            return result
        from meshlint.lint.choice import counted

        return replace(result, chosen=counted(opened.rules, self.all_rules(opened.policy)))

    def settling(
        self, settings: Settings, *, deciding: bool = True
    ) -> Callable[[SiteRun], None] | None:
        """Return what judges by usual ranges what a site leaves open, None where nothing does.

        With `deciding` it also looks for the inputs that decide what stays open.
        """
        if not self.usual or (settings.usual is not None and not settings.usual[0]):
            return None

        def settle(run: SiteRun) -> None:
            # Loaded only where something is open.
            from meshlint.usual.settling import settle as by_ranges
            from meshlint.workings.governance.usual_ranges import ranges_under

            by_ranges(run, ranges_under(settings.usual_ranges), deciding=deciding)

        return settle

    def by_usual_values(self, opened: OpenSite) -> Workings | None:
        """Return the site with its gaps at usual values, for figures that people are shown.

        `None` where it has no gaps, or nothing may be assumed.
        """
        if self.settling(opened.settings) is None:
            return None
        from meshlint.usual.settling import by_usual_values
        from meshlint.workings.governance.usual_ranges import ranges_under

        return by_usual_values(opened.workings, ranges_under(opened.settings.usual_ranges))

    def _catalogue_of(self, document: Document) -> Document | None:
        usual = self.settings_of(document).catalogue
        return catalogue_of(document, self.catalogues, usual)

    def _limits(self, path: str) -> Limits:
        policy = self.policy_of(path)
        return policy.limits if policy else LIMITS

    def failing_severity(self, settings: Settings) -> Severity:
        """Return the mildest severity that fails a site under the settings."""
        return self.fail_at or (settings.fail_at[0] if settings.fail_at else "error")

    def accepted_of(self, opened: OpenSite) -> tuple[Listed, ...]:
        """Return what the repository accepts of a site; raise `InputError` for a bad list."""
        policy = opened.policy
        return self._accepted(policy).get(opened.site.about.name, ()) if policy else ()

    def policy_of(self, site_path: str) -> Policy | None:
        """Return the policy that a site file is held to, or raise `InputError` for a bad one."""
        folder = "." if site_path == STANDARD_INPUT else os.path.dirname(site_path) or "."  # noqa: PTH120 - thousands of these
        if folder not in self._found:
            self._found[folder] = find_policy(Path(folder))
        path = self._found[folder]
        if path is None:
            return None
        known = self._policies.get(path)
        if known is None:
            known = self._policies[path] = _policy_or_error(path)
        if isinstance(known, InputError):
            raise known
        return known

    def settings_of(self, document: Document) -> Settings:
        """Return what the policy says about the site of a document, whatever its shape."""
        policy = self.policy_of(document.path)
        if policy is None:
            return NO_SETTINGS
        about = mapping(mapping(document.value).get("site"))
        return policy.settings(document.path, about.get("class"))

    def _site_of(self, document: Document, settings: Settings) -> Site:
        site = site_of(document, self.catalogues, settings.catalogue, self._limits(document.path))
        return _with_radars(site, settings) if settings.radars else site

    def rules_of(self, policy: Policy | None, settings: Settings) -> Rulebook:
        """Return the rules as they are held under the settings; raise `InputError`."""
        rules = self.all_rules(policy)
        # A policy keeps its settings as long as it lives, so that their identity names them.
        key = id(rules), id(settings)
        if key not in self._held:
            held = under_settings(rules, settings) if policy else rules
            held = self.choice.of(held) if self.choice else held
            self._held[key] = _apart(held) if self.apart else held
        return self._held[key]

    def all_rules(self, policy: Policy | None) -> Rulebook:
        """Return every card, the repository's own among them, as it stands; raise `InputError`."""
        if policy is None:
            return shipped_rules()
        path = Path(policy.path)
        rules = self._rules.get(path)
        if rules is None:
            try:
                rules = _rules_under(policy)
            except InputError as error:
                rules = error
            self._rules[path] = rules
        if isinstance(rules, InputError):
            raise rules
        return rules

    def _accepted(self, policy: Policy) -> AcceptedList:
        path = policy.accepted
        known = self._lists.get(path)
        if known is None:
            from meshlint.lint.accepted import read_accepted

            try:
                known = read_accepted(path, path.as_posix())
            except InputError as error:
                known = error
            self._lists[path] = known
        if isinstance(known, InputError):
            raise known
        return known


def _policy_or_error(path: Path) -> Policy | InputError:
    try:
        return read_policy(path, shown_from_here(path))
    except InputError as error:
        return error


def _rules_under(policy: Policy) -> Rulebook:
    """Return the shipped cards and the repository's own, and hold the policy against them."""
    facts = FACTS
    if policy.facts:
        from meshlint.workings.installed import installed_facts

        facts = {**FACTS, **installed_facts(policy.facts)}
    rules = shipped_rules()
    if policy.card_folders:
        shipped = {card.id for card in rules.cards}
        sets = [
            load_rulebook(
                _cards_in(folder, policy.limits),
                facts,
                f"{folder.name}/",
                shipped,
                policy.limits,
            )
            for folder in policy.card_folders
        ]
        rules = joined([rules, *sets], facts, policy.limits)
    problems = policy.problems(rules)
    if problems:
        raise InputError(problems)
    return rules


def _cards_in(folder: CardFolder, limits: Limits) -> list[Path]:
    """Return the files of a folder's cards; raise `InputError` where there are too many."""
    found = sorted(folder.path.glob("*.yaml"))
    if len(found) > limits.cards:
        words = f"the folder holds {len(found)} cards; at most {limits.cards} are read"
        raise InputError.at(folder.place, words)
    return found


def _apart(rules: Rulebook) -> Rulebook:
    return rules.with_cards(
        (replace(card, cause="") for card in rules.cards), rules.limits, rules.switched_off
    )


def _with_radars(site: Site, settings: Settings) -> Site:
    from meshlint.site.model import KnownRadar
    from meshlint.site.places import GeoPlace

    known = tuple(
        KnownRadar(
            radar["name"],
            GeoPlace(radar["latitude"], radar["longitude"]),
            radar.get("frequency_mhz"),
        )
        for radar, _ in settings.radars
    )
    return replace(site, radars=(*(site.radars or ()), *known))
