"""Whatever is answered, it is understood and gives a file that checks, or says how to write it."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from meshlint.site.load import Catalogues, load_site
from meshlint.starter.answers import Answers
from meshlint.starter.questions import QUESTIONS, SKIP, taken
from meshlint.starter.reading import SURROUNDINGS, UnclearError
from meshlint.starter.writing import text_of

numbers = st.one_of(st.integers(0, 3000), st.integers(0, 10**7), st.decimals(0, 99, places=1)).map(
    str
)
names = st.one_of(
    st.sampled_from(["hall", "loft", "unit-1", "no", "5e", "a: b", "~", "room 1", "all", "x" * 61]),
    st.text(max_size=8),
)
like = st.sampled_from(
    ["two bands", "three bands, 802.11ax", "5 GHz, 2 streams", "2.4 + 5 + 5 GHz, 7", "model lark",
     "model ", "two bands, 99 streams", "two bands, 0 ports", "9 bands", "three bands, 6"]
)  # fmt: skip
sheets = st.sampled_from(
    ["stud wall inside", "brick, two leaves outside", "timber floor between storeys",
     "brick inside", "doorway outside", "marble inside", "cheese inside", "open inside"]
)  # fmt: skip


def joined(parts: st.SearchStrategy[str], mark: str) -> st.SearchStrategy[str]:
    return st.lists(parts, min_size=1, max_size=4).map(mark.join)


def built(form: str, *parts: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.tuples(*parts).map(lambda said: form.format(*said))


PARTS = {
    "kind": joined(st.sampled_from([*SURROUNDINGS, "GB", "US", "zz", "", "caf\u00e9"]), ", "),
    "storeys": joined(
        st.one_of(numbers, built("{} x {} m", numbers, numbers), built("{} ft high", numbers),
                  built("{}x{} ft", numbers, numbers)), ", "),
    "rooms": joined(
        st.one_of(sheets, built("{} x {} rooms", numbers, numbers), st.just("open plan")), ", "),
    "units": joined(
        st.one_of(names, built("{}: {}", names, like), built("{} in {}", names, numbers),
                  built("{} on first at {}, {}", names, numbers, numbers), built("{}", numbers),
                  built("all: {}", like)), "; "),
    "internet": st.one_of(names, built("{}, {}/{}", names, numbers, numbers)),
    "backhaul": joined(
        st.one_of(st.sampled_from(["radio", "cable", "radio at 5 GHz", "nothing else"]),
                  built("{} to {} by radio at 5 GHz", names, names),
                  built("{} to {} by cable, cat 6, {} m", names, names, numbers),
                  built("{} to {} laid, cat {}", names, names, numbers)), "; "),
    "clients": joined(
        st.one_of(built("{} {} near {}", numbers, names, names),
                  built("{} {} in {} for voice", numbers, names, numbers),
                  built("{} {} wired to {}", numbers, names, names)), "; "),
    "neighbours": st.one_of(
        st.just("none"), built("{}: {} at -{}, 6 GHz {} at -{}", names, *[numbers] * 4)),
}  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.fixed_dictionaries({key: st.one_of(st.just(SKIP), part) for key, part in PARTS.items()}))
def test_every_answer_gives_a_file_that_checks_or_says_how_to_write_it(
    said: dict[str, str],
) -> None:
    answers = Answers()
    for question in QUESTIONS:
        if not question.asked(answers):
            continue
        try:
            taken(question, said[question.key], answers)
        except UnclearError:
            if question.needed:
                taken(question, "hall; loft: two bands", answers)
    load_site(text_of("Mill", "mill.site.yaml", answers).encode(), "mill.site.yaml", Catalogues())
