"""Broken texts through the real program: each is told at its place, and none hides another."""

from __future__ import annotations

import pytest

GOOD = "meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\n"
HEAD = "meshlint: 1\nsite: {name: A}\nprimary: a\n"

# Name, bytes, a part of the message, line.
TABLE = (
    ("empty", b"", "holds nothing", 1),
    ("comment", b"# only\n", "holds nothing", 1),
    ("nul", b"a: \0\n", "U+0000", 1),
    ("nul-escape", (GOOD.replace("A}", '"a\\0b"}')).encode(), "U+0000", 2),
    ("utf16", GOOD.encode("utf-16"), "UTF-16", 1),
    ("utf16-bare", GOOD.encode("utf-16-le"), "UTF-16", 1),
    ("latin1", GOOD.replace("A", "Caf\u00e9").encode("latin-1"), "is not UTF-8", 2),
    ("surrogate", HEAD.encode() + b"\xed\xa0\x80", "is not UTF-8", 4),
    ("control", HEAD.encode() + b"units: {a: {model: \x1b[2J}}\n", "U+001B", 4),
    ("tab", HEAD.encode() + b"units:\n\ta: {}\n", "tab", 5),
    ("two", (GOOD + "---\n" + GOOD).encode(), "second document", 5),
    ("tag", (HEAD + "units: {a: !!python/object:os.system x}\n").encode(), "tag", 4),
    ("merge", (HEAD + "units: {a: &a {}, b: {<<: *a}}\n").encode(), "merging", 4),
    ("twice", (GOOD + "units: {b: {}}\n").encode(), "given twice", 5),
    ("list-key", (HEAD + "units: {[a]: {}}\n").encode(), "must be text", 4),
    ("cycle", (HEAD + "units: &u {a: *u}\n").encode(), "stands within", 4),
    ("no-anchor", (HEAD + "units: {a: *b}\n").encode(), "no anchor", 4),
    ("nan", (HEAD + "units: {a: {at: {x_m: .nan, y_m: 0}}}\n").encode(), "quantity", 4),
    ("infinite", (HEAD + "units: {a: {at: {x_m: -.inf, y_m: 0}}}\n").encode(), "quantity", 4),
    ("too-large", (HEAD + "units: {a: {at: {x_m: 1e999, y_m: 0}}}\n").encode(), "too large", 4),
    ("digits", (HEAD + f"units: {{a: {{memory_mb: {'9' * 5000}}}}}\n").encode(), "digits", 4),
    ("int-tag", (HEAD + "units: {a: {memory_mb: !!int x}}\n").encode(), "tag", 4),
    ("date-tag", (HEAD + "units: {a: {memory_mb: !!timestamp 2026-99-99}}\n").encode(), "tag", 4),
    ("deep", ("[" * 100_000).encode(), "deep", 1),
    ("deep-block", ("- " * 5_000).encode(), "deep", 1),
    ("open", (HEAD + "units: {a: {").encode(), "", 4),
    ("directive", ("%TAG ! tag:x,2000:\n---\n" + GOOD).encode(), "%TAG", 1),
    ("version", ("%YAML 3.0\n---\n" + GOOD).encode(), "", 1),
    ("not-a-map", b"- a\n- b\n", "", 1),
    ("text-only", b"hello\n", "", 1),
    ("long-text", (HEAD + f"units: {{a: {{model: {'x' * 10_001}}}}}\n").encode(), "10001", 4),
    ("long-key", (HEAD + f"units: {{? {'x' * 10_001} : {{}}}}\n").encode(), "10001", 4),
    ("long-name", (HEAD + f"units: {{a: {{}}, {'x' * 101}: {{}}}}\n").encode(), "100 at most", 4),
    ("old-truth", (HEAD + "units: {a: {outdoors: yes}}\n").encode(), "write true", 4),
    ("sexagesimal", (HEAD + "units: {a: {memory_mb: 1:30}}\n").encode(), "a number", 4),
    ("whole-truth", (GOOD.replace(": 1", ": true")).encode(), "1", 1),
    ("bad-day", (GOOD.replace("A}", "A, changed: 2026-02-30}")).encode(), "2026-02-30", 2),
    (
        "self-link",
        (HEAD + "units: {a: {}}\nbackhaul: {x: {from: a, to: a, over: cable}}\n").encode(),
        "joins two units",
        5,
    ),
    ("nowhere", (GOOD.replace("primary: a", "primary: b")).encode(), "no unit 'b'", 3),
    ("negative-power", (HEAD + "units: {a: {radios: {m: {power_dbm: -31}}}}\n").encode(), "-30", 4),
    ("slash", (HEAD + "units: {a: {}, b/c: {}}\n").encode(), "cannot hold '/'", 4),
)

# What is odd and yet well-formed: it must be read as what it says.
TAKEN = (
    ("bom", b"\xef\xbb\xbf" + GOOD.encode()),
    ("crlf", GOOD.replace("\n", "\r\n").encode()),
    ("cr", GOOD.replace("\n", "\r").encode()),
    ("next-line", GOOD.replace("A}", '"A\x85B\u2028C"}').encode()),
    ("version", b"%YAML 1.2\n---\n" + GOOD.encode() + b"...\n"),
    ("norway", GOOD.replace("A}", "A, country: NO}").encode()),
    ("octal", (HEAD + "units: {a: {memory_mb: 0o17}}\n").encode()),
)


@pytest.fixture(scope="module")
def told(meshlint, files_of, tmp_path_factory):
    folder = tmp_path_factory.mktemp("texts")
    for name, data, *_ in TABLE:
        (folder / f"{name}.site.yaml").write_bytes(data)
    for name, data in TAKEN:
        (folder / f"good-{name}.site.yaml").write_bytes(data)
    done = meshlint(folder, "check", "--format", "json", "--no-cache")
    assert done.returncode == 2, done.stderr[-300:]
    assert done.stderr == b""
    return files_of(done.stdout)


@pytest.mark.parametrize(
    ("name", "words", "line"),
    [(name, words, line) for name, _, words, line in TABLE],
    ids=[row[0] for row in TABLE],
)
def test_every_broken_text_is_told_at_its_line(told, name, words, line):
    problems = told[f"{name}.site.yaml"]["problems"]
    assert any(words in p["message"] and p["place"]["line"] == line for p in problems), problems


@pytest.mark.parametrize("name", [row[0] for row in TAKEN])
def test_odd_texts_that_mean_something_are_read(told, name):
    assert told[f"good-{name}.site.yaml"]["problems"] == []


def big() -> dict[str, bytes]:
    """Return files that are made to take for ever, by name."""
    bomb = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, 12)
    )
    mixed = ", ".join(f"{i}, '{i}'" for i in range(30_000))
    units = ", ".join(f"u{i}: {{}}" for i in range(501))
    lost = ", ".join(f"l{i}: {{from: a, to: v{i}, over: cable}}" for i in range(1_900))
    walls = ", ".join("{path_m: [[0, 0], [1, 1]], loss_db: 1}" for _ in range(5_001))
    return {
        "size": b"# " + b"x" * 5_000_000,
        "bomb": bomb.encode(),
        "parts": b"[" + b"x, " * 300_000 + b"]",
        "units": (HEAD + f"units: {{a: {{}}, {units}}}\n").encode(),
        "walls": (HEAD + f"units: {{a: {{}}}}\nlevels: {{g: {{walls: [{walls}]}}}}\n").encode(),
        "lost": (HEAD + f"units: {{a: {{}}}}\nbackhaul: {{{lost}}}\n").encode(),
        "mixed": (HEAD + f"units: {{a: {{management_from: [{mixed}]}}}}\n").encode(),
        "keys": (
            HEAD + f"units: {{a: {{{', '.join(f'z{i}: 1' for i in range(60_000))}}}}}"
        ).encode(),
        "quotes": (HEAD + "units: {a: {model: " + '"' * 1_000_000).encode(),
        "anchors": (
            HEAD + "units: {" + ", ".join(f"u{i}: &x{i} {{}}" for i in range(60_000))
        ).encode(),
    }


SAID = {
    "size": "at most 4194304 are read",
    "bomb": "aliases copy more than 200000 parts",
    "parts": "more than 200000 parts",
    "units": "at most 500 are judged",
    "walls": "at most 5000 are judged",
    "lost": "there is no unit of this name",
    "mixed": "expected a text",
    "keys": "there is no key",
    "quotes": "",
    "anchors": "",
}


@pytest.mark.slow
def test_files_made_to_take_for_ever_are_refused_in_bounded_time_and_memory(
    meshlint, files_of, tmp_path
):
    made = big()
    assert made.keys() == SAID.keys()
    for name, data in made.items():
        (tmp_path / f"{name}.site.yaml").write_bytes(data)
    done = meshlint(tmp_path, "check", "--format", "json", "--no-cache", "--jobs", "1")
    assert done.returncode == 2, done.stderr[-300:]
    for path, entry in files_of(done.stdout).items():
        messages = [problem["message"] for problem in entry["problems"]]
        assert 1 <= len(messages) <= 51
        assert any(SAID[path.removesuffix(".site.yaml")] in message for message in messages), path
    assert len(done.stdout) < 500_000


@pytest.mark.slow
def test_a_policy_may_set_the_limits_within_bounds(meshlint, files_of, tmp_path):
    (tmp_path / "a.site.yaml").write_bytes(big()["units"])
    policy = tmp_path / "meshlint.yaml"

    def told(limits: str) -> list[str]:
        policy.write_text(f"meshlint: 1\nfile_limits: {limits}\n")
        done = meshlint(tmp_path, "check", "--format", "json", "--no-cache")
        return [p["message"] for p in files_of(done.stdout)["a.site.yaml"]["problems"]]

    assert told("{units: 502}") == []
    assert told("{units: 501}") == ["the file has 502 units; at most 501 are judged in one site"]
    size = len(big()["units"])
    assert told("{bytes: 100}") == [f"the file holds {size} bytes; at most 100 are read"]
    (message,) = told("{units: 1000000}")
    assert "from 1 to 5000" in message


def test_every_limit_that_a_policy_may_set_is_one_and_has_its_bound():
    import json

    from meshlint.site.limits import LIMITS, MOST
    from meshlint.site.schema import schema_text

    settable = json.loads(schema_text("policy"))["properties"]["file_limits"]["properties"]
    assert set(settable) == set(LIMITS.__struct_fields__)
    for name, entry in settable.items():
        assert entry["maximum"] == getattr(MOST, name) > getattr(LIMITS, name)
