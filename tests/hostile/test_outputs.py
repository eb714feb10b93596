"""Reports under hostile names and on hostile outputs: harmless, whole or not at all, never silent.

Which lines build servers obey, by their manuals: `::command parameter=value::text` ("Workflow
commands for GitHub Actions"), `##vso[area.action ...]text` and `##[command]text` ("Logging
commands" of Azure Pipelines), `##teamcity[name 'value']` ("Service Messages" of TeamCity). Held
here more strictly than that: no line begins with `::` after blanks, the others stand nowhere.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import unicodedata
import xml.etree.ElementTree as ET

import pytest

GOOD = "meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\n"

EVIL = (
    "\x1b]0;x\x07\x1b[2J",
    "\x9b2J\x85\x7f",
    "\u202eright\u2066\u200b\U000e0001",
    "\n::error file=a::b",
    "::set-output x::y",
    "##vso[task.setvariable]",
    "##[add-mask]x",
    "##teamcity[x]",
    "<script>alert(1)</script>&quot;",
    "]]><x a='\">",
    "[l](javascript:x) ![i](http://x) @all `x` | a |",
    "\rx",
)
FORMATS = ("text", "json", "sarif", "junit", "markdown")


def evil_site() -> str:
    units = {f"{name}{at}": {"radios": {name: {"band": 5, "channel": 42, "width_mhz": 80}}}
             for at, name in enumerate(n.replace("/", "") for n in EVIL)}  # fmt: skip
    first = next(iter(units))
    site = {
        "meshlint": 1,
        "site": {"name": "".join(EVIL), "country": "GB"},
        "primary": first,
        "units": units,
        "backhaul": {},
        "waivers": [{"rule": "channel-exists", "subject": EVIL[3], "because": EVIL[4]}],
    }
    text = json.dumps(site, ensure_ascii=False)
    return "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in text)


def hidden(text: str) -> set[str]:
    bad = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
    return {c for c in text if c not in "\n\u200b" and unicodedata.category(c) in bad}


@pytest.fixture(scope="module")
def reports(meshlint, tmp_path_factory):
    folder = tmp_path_factory.mktemp("reports")
    (folder / "a.site.yaml").write_text(evil_site())
    broken = '"::error::x\\e##vso[x]": 1\n'
    (folder / "b.site.yaml").write_text(GOOD + broken)
    words = [word for form in FORMATS for word in ("--format", f"{form}={form}.out")]
    done = meshlint(folder, "check", *words, "--no-cache")
    assert done.returncode == 2, done.stderr
    found = {form: (folder / f"{form}.out").read_text() for form in FORMATS}
    workings = meshlint(folder, "workings", "a.site.yaml")
    found["workings"] = workings.stdout.decode()
    found["workings-json"] = meshlint(
        folder, "workings", "a.site.yaml", "--format", "json"
    ).stdout.decode()
    return found


@pytest.mark.parametrize("form", [*FORMATS, "workings", "workings-json"])
def test_no_name_steers_a_terminal_an_editor_or_a_build_server(reports, form):
    text = reports[form]
    assert len(text) > 500
    assert hidden(text) == set()
    assert not re.search(r"^\s*::", text, re.MULTILINE)
    assert not re.search(r"##\w*\[", text)


def test_structured_reports_stay_well_formed_and_say_what_was_said(reports):
    assert json.loads(reports["json"])["files"][0]["site"] == "".join(EVIL)
    assert json.loads(reports["sarif"])["version"] == "2.1.0"
    assert ET.fromstring(reports["junit"]).tag == "testsuites"  # noqa: S314
    assert json.loads(reports["workings-json"])["site"] == "".join(EVIL)


def test_markdown_shows_markup_letter_by_letter(reports):
    text = reports["markdown"]
    assert not re.search(r"(?<!\\)<script", text)
    assert not re.search(r"(?<!\\)\[l(?<!\\)\]\(", text)
    assert "@all" not in text


def test_a_full_disk_is_told_and_leaves_no_half_report(meshlint, tmp_path):
    (tmp_path / "a.site.yaml").write_text(GOOD)
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = meshlint(tmp_path, "check", "a.site.yaml", stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 2
    assert done.stderr == b"meshlint: the report cannot be written: No space left on device\n"


def test_nobody_to_tell_is_no_traceback_and_no_wrong_status(meshlint, tmp_path):
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = meshlint(tmp_path, "check", "gone.site.yaml", stdout=full, stderr=full)
        assert done.returncode == 2
        assert meshlint(tmp_path, "no-such", stdout=full, stderr=full).returncode == 2


def test_a_file_too_large_for_its_disk_leaves_the_old_one(tmp_path):
    (tmp_path / "a.site.yaml").write_text(GOOD)
    (tmp_path / "report.txt").write_text("old")
    program = (
        "import resource, signal, sys\nfrom meshlint.cli import main\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (64, 64))\n"
        "sys.argv = ['meshlint', 'check', 'a.site.yaml', '--no-cache', '--output', 'report.txt']\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-B", "-c", program], cwd=tmp_path, capture_output=True, check=False
    )
    assert done.returncode == 2, done.stderr
    assert b"cannot be written: File too large" in done.stderr
    assert (tmp_path / "report.txt").read_text() == "old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.site.yaml", "report.txt"]


def test_a_file_system_that_is_full_leaves_the_old_report(meshlint, tmp_path):
    """Run for real where a small file system can be mounted; the bound on a file's size always."""
    small = tmp_path / "small"
    small.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=16k", "tmpfs", small], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("no file system may be mounted here")
    try:
        (small / "a.site.yaml").write_text(GOOD)
        (small / "report.txt").write_text("old")
        left = os.statvfs(small)
        (small / "ballast").write_bytes(b"x" * (left.f_bavail * left.f_frsize))
        done = meshlint(small, "check", "a.site.yaml", "--output", "report.txt", "--no-cache")
        assert done.returncode == 2, done.stderr
        assert b"cannot be written: No space left on device" in done.stderr
        assert (small / "report.txt").read_text() == "old"
        names = sorted(path.name for path in small.iterdir())
        assert names == ["a.site.yaml", "ballast", "report.txt"]
        (small / "ballast").unlink()
        done = meshlint(small, "check", "a.site.yaml", "--output", "report.txt", "--no-cache")
        assert done.returncode == 0, done.stderr
    finally:
        subprocess.run(["umount", small], check=True)


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", ">&- 2>&-"])
def test_closed_streams_are_no_fault_of_the_program(tmp_path, closed):
    (tmp_path / "a.site.yaml").write_text(GOOD)
    path = "-" if closed == "<&-" else "a.site.yaml"
    done = subprocess.run(
        f"{sys.executable} -m meshlint check --no-cache {path} {closed}",
        shell=True,
        cwd=tmp_path,
        capture_output=True,
        check=False,
    )
    assert done.returncode == (2 if path == "-" else 0), done.stderr
    assert b"Traceback" not in done.stderr


def test_a_reader_that_goes_away_leaves_no_complaint_in_any_format(tmp_path):
    (tmp_path / "a.site.yaml").write_text(evil_site())
    for form in ("text", "json"):
        done = subprocess.run(
            f"{sys.executable} -m meshlint check --no-cache --format {form} . | true",
            shell=True,
            cwd=tmp_path,
            capture_output=True,
            check=False,
        )
        assert done.stderr == b""


def test_letters_that_the_locale_has_not_are_written_all_the_same(meshlint, files_of, tmp_path):
    (tmp_path / "a.site.yaml").write_text(GOOD.replace("A", "Caf\u00e9 \U0001f4a5"))
    done = meshlint(
        tmp_path, "check", ".", "--format", "json", env={"PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    )
    assert done.returncode == 0, done.stderr
    assert files_of(done.stdout)["a.site.yaml"]["site"] == "Caf\u00e9 \U0001f4a5"


def test_no_home_and_nowhere_to_keep_results_costs_nothing(meshlint, tmp_path):
    (tmp_path / "a.site.yaml").write_text(GOOD)
    for folder in ("/dev/null/x", "/proc/nothing", os.devnull):
        done = meshlint(tmp_path, "check", "a.site.yaml", env={"MESHLINT_CACHE_DIR": folder})
        assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize(
    "words",
    [("check", "a.site.yaml"), ("check", "a.site.yaml", "--format", "json"), ("siblings",),
     ("explain", "hop-depth"), ("workings", "a.site.yaml"), ("rules",), ("schema", "site")],
    ids=" ".join,
)  # fmt: skip
def test_a_reader_that_has_gone_is_neither_a_finding_nor_a_fault(meshlint, tmp_path, words):
    """128 and the number of the signal, as a shell tells of a program that SIGPIPE ended."""
    (tmp_path / "a.site.yaml").write_text(GOOD.replace("site: {", "site: {class: branch, "))
    reading, writing = os.pipe()
    os.close(reading)
    done = meshlint(tmp_path, *words, stdout=writing, stderr=subprocess.PIPE)
    os.close(writing)
    assert done.returncode == 128 + signal.SIGPIPE
    assert done.stderr == b""
