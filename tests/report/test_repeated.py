"""One slip in a shared file hits many sites: a person reads it once, with the sites it hits."""

from __future__ import annotations

from msgspec.structs import replace

from meshlint.lint.finding import Finding, SiteResult
from meshlint.report import markdown, text
from meshlint.report.concise import ConciseWriter
from meshlint.report.lines import Look
from meshlint.report.repeated import MOST_KEPT
from meshlint.site.problem import Place, Problem

SITES = 200


def result(number: int, *told: tuple[str, str]) -> SiteResult:
    """Return a site's result with one finding for each pair of subject and words."""
    path = f"{number}.site.yaml"
    findings = tuple(
        Finding(
            site=f"Branch {number}",
            rule="within-the-model",
            severity="error",
            title="A unit does what its model can",
            subject=f"units/{name}",
            label=name,
            place=Place(path, 7 + line, 3),
            message=words,
            why="because",
            remedy="Correct the catalogue.",
            sources=(),
            numbers={},
        )
        for line, (name, words) in enumerate(told)
    )
    return SiteResult(path=path, site=f"Branch {number}", findings=findings)


def plain(report: str) -> str:
    return " ".join(report.split())


def test_a_finding_in_the_same_words_at_many_sites_is_told_once_with_the_sites() -> None:
    report = text.render([result(n, ("loft", "No radio low.")) for n in range(SITES)], Look())
    assert report.count("No radio low.") == 1
    assert len(report.splitlines()) < 25
    assert (
        "error, within-the-model for loft (0.site.yaml:7:3): 199 more sites, 1.site.yaml:7:3, "
        "2.site.yaml:7:3"
    ) in plain(report)
    assert f"and {SITES - 1 - MOST_KEPT} more" in plain(report)
    assert f"{SITES} sites checked: {SITES} errors; {SITES} of the {SITES} sites fail" in report


def test_markdown_tells_once_what_many_sites_have_in_the_same_words() -> None:
    report = markdown.render([result(n, ("loft", "No radio low.")) for n in range(SITES)])
    assert report.count("No radio low.") == 1
    assert len(report.splitlines()) < 20
    assert (
        "error, within-the-model for loft (0.site.yaml:7:3): 199 more sites, 1.site.yaml:7:3, "
        "2.site.yaml:7:3"
    ) in plain(report).replace("\\", "")
    assert f"and {SITES - 1 - MOST_KEPT} more" in plain(report)
    assert report.startswith(f"## meshlint: {SITES} errors in {SITES} sites\n")


def test_markdown_tells_of_each_site_what_is_its_own() -> None:
    results = [result(n, ("loft", f"{n} dB too little.")) for n in range(5)]
    report = markdown.render(results)
    assert "The same elsewhere" not in report
    for number in range(5):
        assert f"{number} dB too little." in report


def test_what_is_a_sites_own_is_told_beside_what_is_shared() -> None:
    shared = ("loft", "No radio low.")
    report = text.render(
        [result(0, shared), result(1, shared, ("barn", "No radio mid.")), result(2, shared)],
        Look(),
    )
    assert report.count("No radio low.") == report.count("No radio mid.") == 1
    assert "Branch 1, 1.site.yaml" in report
    assert "2 more sites, 1.site.yaml:7:3, 2.site.yaml:7:3" in plain(report)


def test_a_difference_of_one_word_is_told_again() -> None:
    report = text.render([result(0, ("loft", "44 dBm.")), result(1, ("loft", "45 dBm."))], Look())
    assert "44 dBm." in report
    assert "45 dBm." in report
    assert "elsewhere" not in report


def test_two_subjects_of_one_site_are_both_told_though_they_read_the_same() -> None:
    twice = result(0, ("loft", "No radio low."), ("loft", "No radio low."))
    report = text.render([twice], Look())
    assert report.count("No radio low.") == 2


def test_a_finding_with_another_consequence_is_told_again() -> None:
    def with_consequence(number: int, words: str) -> SiteResult:
        site = result(number, ("loft", "No radio low."), ("barn", words))
        cause, follows = site.findings
        return replace(site, findings=(cause, replace(follows, under=cause.fingerprint)))

    same = [with_consequence(n, "Dark.") for n in range(2)]
    other = with_consequence(2, "Slow.")
    report = text.render([*same, other], Look(explain=True))
    assert report.count("Dark.") == report.count("Slow.") == 1
    assert report.count("No radio low.") == 2


def test_a_model_taken_from_a_catalogue_is_told_once_though_each_site_names_it() -> None:
    results = [
        SiteResult(
            path=f"{n}.site.yaml",
            problems=tuple(
                Problem(Place(f"{n}.site.yaml", line, 12), "there is no model 'tri'")
                for line in (4, 9)
            ),
        )
        for n in range(SITES)
    ]
    report = text.render(results, Look())
    assert "199 more files, 1.site.yaml:4:12" in plain(report)
    assert "200 files could not be understood, 199 of them for what is told of another." in report
    assert len(report.splitlines()) < 15
    writer = ConciseWriter()
    lines = "".join(map(writer.add, results)).splitlines()
    assert len(lines) == 2 * SITES  # the list for programs leaves no place out
