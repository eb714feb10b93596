"""Questions that no file answers alone: what is used twice, by nobody, or unlike its siblings.

The fleet is gone through twice, once for what is in it and once to judge, and never held in memory
whole.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.fleet.profile import profile_of, usual_values, values_beside
from meshlint.lint.engine import check_in_fleet
from meshlint.lint.finding import SiteResult
from meshlint.site.files import read_bytes
from meshlint.site.problem import InputError
from meshlint.workings.governance.fleet import FleetModel, FleetSite, FleetUnit
from meshlint.workings.site_workings import Subject

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.fleet.profile import Profile
    from meshlint.run import Checker, OpenSite
    from meshlint.site.problem import Problem
    from meshlint.site.source import Document

Usual = dict[str, tuple[str, int, int]]


class Fleet:
    """What there is in a fleet, gathered from its files."""

    def __init__(self, checker: Checker, paths: Iterable[str]) -> None:
        self._checker = checker
        self._profiles: dict[str, Profile] = {}
        self._problems: dict[str, SiteResult] = {}
        for path in paths:
            try:
                self._profiles[path] = self._profile(path)
            except InputError as error:
                self._problems[path] = SiteResult(path=path, problems=error.problems)
        self._sites_of_name: defaultdict[str, list[str]] = defaultdict(list)
        self._sites_of_unit: defaultdict[str, list[tuple[str, str]]] = defaultdict(list)
        self._users: Counter[tuple[str | None, str]] = Counter()
        for profile in self._profiles.values():
            self._sites_of_name[profile.name].append(profile.path)
            for unit in profile.units:
                self._sites_of_unit[unit].append((profile.name, profile.path))
            self._users.update((profile.catalogue, model) for model in profile.models)
        self._paths_of_class = {
            name: frozenset(profile.path for profile in profiles)
            for name, profiles in self.classes.items()
        }
        self.usual = {name: self._usual(name) for name in sorted(self.classes)}

    @property
    def classes(self) -> dict[str, list[Profile]]:
        """Return the sites of each class, those without a class left out."""
        found: dict[str, list[Profile]] = {}
        for profile in self._profiles.values():
            if profile.site_class is not None:
                found.setdefault(profile.site_class, []).append(profile)
        return found

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Return what could not be understood, once each: sites share a policy."""
        found = (p for path in sorted(self._problems) for p in self._problems[path].problems)
        return tuple(dict.fromkeys(found))

    def results(self) -> Iterator[SiteResult]:
        """Yield what the rules about fleets say of each file, catalogues last."""
        first_user: dict[str, str] = {}
        for path in sorted({*self._profiles, *self._problems}):
            if path in self._problems:
                yield self._problems[path]
                continue
            catalogue = self._profiles[path].catalogue
            if catalogue is not None:
                first_user.setdefault(catalogue, path)
            yield self._judged(path)
        for catalogue, user in sorted(first_user.items()):
            yield self._judged_catalogue(catalogue, user)

    def _profile(self, path: str) -> Profile:
        self._checker.catalogues.asked.clear()
        document = self._opened(path).document
        asked = self._checker.catalogues.asked
        catalogue = str(next(iter(asked))) if asked else None
        return profile_of(document, catalogue)

    def _opened(self, path: str) -> OpenSite:
        return self._checker.open(read_bytes(Path(path), path), path)

    def _usual(self, name: str) -> Usual:
        profiles = self.classes[name]
        try:
            policy = self._checker.policy_of(profiles[0].path)
        except InputError:
            policy = None
        return usual_values(profiles, policy.may_vary(name) if policy else ())

    def _judged(self, path: str) -> SiteResult:
        try:
            opened = self._opened(path)
            listed = self._checker.accepted_of(opened)
        except InputError as error:
            return SiteResult(path=path, problems=error.problems)
        return check_in_fleet(
            opened.rules,
            opened.workings,
            opened.document,
            self._subjects(self._profiles[path], opened.document),
            listed,
            self._checker.failing_severity(opened.settings),
        )

    def _subjects(self, profile: Profile, document: Document) -> Iterator[Subject]:
        namesakes = tuple(p for p in self._sites_of_name[profile.name] if p != profile.path)
        about = FleetSite(profile.name, namesakes)
        yield Subject("fleet_site", "site", profile.name, about, ("site",))
        for unit in profile.units:
            bearers = self._sites_of_unit[unit]
            others = tuple(dict.fromkeys(n for n, p in bearers if p != profile.path))
            everywhere = tuple(dict.fromkeys(n for n, _ in bearers))
            of_class = self._paths_of_class.get(profile.site_class or "", frozenset())
            with_it = sum(p in of_class for _, p in bearers)
            about_unit = FleetUnit(unit, others, everywhere, len(of_class), with_it)
            yield Subject("fleet_unit", f"units/{unit}", unit, about_unit, ("units", unit))
        if profile.site_class is not None:
            usual = self.usual[profile.site_class]
            for value in values_beside(document, profile.site_class, usual):
                yield Subject("fleet_value", value.path, value.path, value, value.pointer)

    def _judged_catalogue(self, catalogue: str, user: str) -> SiteResult:
        shown = _shown(catalogue)
        try:
            document = self._checker.catalogues.at(Path(catalogue), shown)
            opened = self._opened(user)
        except InputError as error:
            return SiteResult(path=shown, problems=error.problems)
        models = document.value["models"] if isinstance(document.value, dict) else {}
        named = [
            Subject(
                "fleet_model",
                f"models/{name}",
                name,
                FleetModel(name, self._users[catalogue, name]),
                ("models", name),
            )
            for name in (models if isinstance(models, dict) else {})
        ]
        result = check_in_fleet(opened.rules, opened.workings, document, named)
        return _of_catalogue(result, shown)


def _of_catalogue(result: SiteResult, shown: str) -> SiteResult:
    """Return the result as that of no site, and not of the one whose rules it was judged by."""
    from msgspec.structs import replace

    findings = tuple(replace(f, site=shown, waiver=None) for f in result.findings)
    return replace(result, site="", findings=findings)


def _shown(path: str) -> str:
    here = Path.cwd()
    full = Path(path)
    return str(full.relative_to(here)) if full.is_relative_to(here) else path
