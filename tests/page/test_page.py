"""The page for people: numbers of the workings alone, names that stay text, nothing secret."""

from __future__ import annotations

import html
import re
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.page.client import _is_secret
from meshlint.page.render import READERS, page
from meshlint.report.plain import visible
from meshlint.run import Checker
from meshlint.workings.fact import with_unit
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

BRANCHES = Path(__file__).parents[2] / "samples" / "branches"
DAY = date(2026, 11, 25)
SAMPLES = ("harrowmere", "thornholme", "stangmoor")

HOUSE = """
meshlint: 1
site: {{name: "{name}", surroundings: office, country: GB}}
primary: desk
levels:
  ground: {{base_m: 0, outline_m: [[0, 0], [20, 0], [20, 10], [0, 10]]}}
units:
  desk: {{state: planned, model: "{name}", at: {{level: ground, x_m: 3, y_m: 5}},
          radios: {{mid: &r {{band: 5, channel: 36, width_mhz: 40, radiated_dbm: 15}}}}}}
  "{unit}": {{at: {{level: ground, x_m: 12, y_m: 3}}, radios: {{mid: *r}}}}
models: {{"{name}": {{kind: access}}}}
backhaul: {{"{unit}": {{from: "{unit}", to: desk, over: radio}}}}
clients: {{"{unit}": {{count: 3, near: "{unit}", use: voice, down_mbps: 1, up_mbps: 1}}}}
"""


def opened(text: bytes, path: str = "a.site.yaml"):
    checker = Checker(DAY)
    found = checker.open(text, path)
    return found, checker.judge(found)


def made(text: bytes, *readers, path: str = "a.site.yaml") -> str:
    found, result = opened(text, path)
    return page(found.workings, found.rules.facts, result, readers or READERS, DAY)


def sample(name: str) -> tuple[bytes, str]:
    path = BRANCHES / f"{name}.site.yaml"
    return path.read_bytes(), str(path)


class Figures(HTMLParser):
    """Every value on a page with the fact and the subject that it says it comes from."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[list[str]] = []
        self._inside = False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "span" and "data-fact" in given:
            self.found.append([given["data-fact"], given["data-subject"], given["class"], ""])
            self._inside = True

    def handle_endtag(self, tag):
        self._inside = self._inside and tag != "span"

    def handle_data(self, data):
        if self._inside:
            self.found[-1][3] += data


@pytest.mark.parametrize("name", SAMPLES)
def test_every_number_on_the_page_is_that_of_the_workings(name):
    text, path = sample(name)
    found, _ = opened(text, path)
    scopes = ("site", "unit", "radio", "link", "air", "group", "area")
    keys = {(s, x.key): x for s in scopes for x in subjects(found.workings, s)[0]}
    figures = Figures(made(text, path=path)).found
    assert len(figures) > 100
    for fact, key, kind, said in figures:
        value = found.workings.value(found.rules.facts[fact], keys[fact.partition(".")[0], key])
        if isinstance(value, Unknown):
            assert kind == "unknown", (fact, key)
            assert said.startswith("not known"), (fact, key)
        elif value in ("", ()):
            assert said == "none", (fact, key)
        else:
            assert said == visible(with_unit(found.rules.facts[fact], value)), (fact, key)


HOSTILE = (
    "<script>alert(1)</script>",
    'a" onload="x',
    "a' & b",
    "]]><!-- x",
    "\u202egnirts",
    "m" * 98,
    "🦔 hedge",
    "{{ 7 * 7 }}",
)


@pytest.mark.parametrize("hostile", HOSTILE)
def test_no_name_of_the_file_becomes_markup(hostile):
    escaped = hostile.replace("\\", "\\\\").replace('"', '\\"').replace("/", "")
    text = made(HOUSE.format(name=escaped, unit=f"u {escaped}").encode())
    assert (
        html.escape(visible(f"u {hostile.replace('/', '')}"), quote=True)
        .replace("&#x27;", "&#39;")
        .replace("&quot;", "&#34;")
        in text
    )
    assert "<script" not in text
    assert "\u202e" not in text
    tags = set()

    class Tags(HTMLParser):
        def handle_starttag(self, tag, attrs):
            tags.add(tag)
            assert not [key for key, _ in attrs if key.startswith("on") or key in {"src", "href"}]

    Tags().feed(text)
    assert "script" not in tags


def test_the_page_is_the_same_for_the_same_input():
    text, path = sample("thornholme")
    assert made(text, path=path) == made(text, path=path)


def test_the_policy_of_the_page_allows_its_own_style_and_nothing_else():
    given, path = sample("thornholme")
    text = made(given, path=path)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    assert html.unescape(policy).startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    assert not re.search(r"(?<![\w-])(src|href|style|onclick)=", text)
    assert set(re.findall(r"https?://[^\s\"<]+", text)) <= {"http://www.w3.org/2000/svg"}


def test_the_client_reads_no_rule_name_no_secret_and_no_approver():
    for name in SAMPLES:
        text, path = sample(name)
        found, result = opened(text, path)
        shown = made(text, "client", path=path)
        assert not [card.id for card in found.rules.cards if "-" in card.id and card.id in shown]
        assert "vault:" not in shown
        assert "assphrase" not in shown
        for finding in result.findings:
            if finding.waiver is not None:
                assert f"by {finding.waiver.approved_by}" not in shown


def test_findings_about_passphrases_are_kept_from_the_client_and_shown_to_the_reviewer():
    text = HOUSE.format(name="House", unit="loft") + (
        "networks: {house: {akm: psk, cipher: ccmp, secret_length: 8, pmf: optional}}\n"
    )
    found, result = opened(text.encode())
    secret = [f for f in result.open_findings if _is_secret(f)]
    assert secret
    facts = found.rules.facts
    shown = page(found.workings, facts, result, ("client",), DAY)
    assert all(f.title not in shown for f in secret)
    assert all(f.rule in page(found.workings, facts, result, ("review",), DAY) for f in secret)


def test_the_buying_list_holds_what_is_planned_and_names_what_has_no_state():
    text = made(HOUSE.format(name="House", unit="loft").encode(), "client")
    bought = text.split("What is to be bought", 1)[1]
    assert "<td>House</td><td>1</td>" in bought
    assert "Not stated whether built or planned, so not in the list: loft." in bought


def test_client_installer_job_and_day_stand_at_the_top_where_stated():
    about = 'client: "Q & Co", installer: Fitters, job: J-7, designed: 2026-09-14, country: GB'
    text = HOUSE.format(name="House", unit="loft").replace("country: GB", about)
    shown = made(text.encode(), "client")
    for words in ("Q &amp; Co", "Fitters", "J-7", "2026-09-14"):
        assert f"<dd>{words}</dd>" in shown


def test_a_day_that_no_calendar_has_is_an_error_at_its_place(tmp_path):
    file = tmp_path / "a.site.yaml"
    file.write_text(
        HOUSE.format(name="House", unit="loft").replace("country", "designed: 2026-02-30, country")
    )
    done = CliRunner().invoke(cli, ["page", str(file)])
    assert done.exit_code == 2
    assert f"{file}:3:" in done.output
    assert "no" in done.output


def test_the_command_writes_one_file_with_the_parts_asked_for(tmp_path):
    path = str(BRANCHES / "thornholme.site.yaml")
    file = tmp_path / "a.html"
    call = ["page", path, "--for", "installer", "--output", str(file), "--today", "2026-11-25"]
    assert CliRunner().invoke(cli, call).exit_code == 0
    text = file.read_text(encoding="utf-8")
    assert 'id="installer"' in text
    assert 'id="client"' not in text
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]


KIT = b"""\
meshlint: 1
site: {name: Kit, country: GB, surroundings: home}
primary: hall
levels: {ground: {outline_m: [[0, 0], [12, 0], [12, 8], [0, 8]], walls: []}}
units:
  hall: {at: {level: ground, x_m: 2, y_m: 4}, radios: {mid: {band: 5, channel: 36, width_mhz: 80}}}
  loft: {at: {level: ground, x_m: 9, y_m: 4}, radios: {mid: {band: 5, channel: 36, width_mhz: 80}}}
backhaul: {loft: {from: loft, to: hall, over: radio}}
clients: {phones: {count: 3, near: loft, down_mbps: 5, up_mbps: 1}}
"""


def test_a_client_is_told_what_ordinary_equipment_gives_and_that_it_is_that(tmp_path: Path) -> None:
    path = tmp_path / "kit.site.yaml"
    path.write_bytes(KIT)
    client = CliRunner().invoke(cli, ["page", str(path)]).output
    assert "is for <strong>ordinary equipment</strong>" in client
    assert re.search(r"\d+ Mb/s", client)


def test_nobody_is_told_to_set_a_power_that_the_file_does_not_state(tmp_path: Path) -> None:
    """What is usual is no setting: the installer's part and the review are the file's own."""
    path = tmp_path / "kit.site.yaml"
    path.write_bytes(KIT)
    words = ["page", str(path), "--for", "installer"]
    installer = CliRunner().invoke(cli, words).output
    assert "ordinary equipment" not in installer
    assert "18 dBm" not in installer


def test_a_policy_that_assumes_nothing_holds_for_the_page_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("meshlint.yaml").write_text("meshlint: 1\nusual: false\n")
    Path("kit.site.yaml").write_bytes(KIT)
    assert "ordinary equipment" not in CliRunner().invoke(cli, ["page", "kit.site.yaml"]).output
