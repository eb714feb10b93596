"""Keys that fit the schema and together mean nothing: refused, at the key that is one too many.

The sentences are ours; what means nothing follows from what each key is described to be, and the
32 octets of a network name from IEEE 802.11.
"""

from __future__ import annotations

import pytest

from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError

BASE = """\
meshlint: 1
site: {name: Tarn}
primary: gate
models: {lark: {radios: {mid: {band: 5}, low: {band: 2.4}}}}
"""
UNITS = "units: {gate: {model: lark}, barn: {model: lark}}\n"


def refused(text: str) -> list[tuple[int, int, str]]:
    with pytest.raises(InputError) as caught:
        load_site(text.encode(), "a.site.yaml", Catalogues())
    return [(p.place.line, p.place.column, p.message) for p in caught.value.problems]


LINK = "backhaul:\n  up: {from: barn, to: gate, "
# (what follows BASE, with `^` before the place at fault, and what is said of it)
CASES = [
    (
        f"{UNITS.replace('{model: lark}}', '{model: lark, scan_made: false}}')}neighbours:\n"
        "  - {heard_at: ^barn, band: 5, channel: 36, level_dbm: -60}\n",
        "'barn' says scan_made: false, so nothing was heard there; take one of them out",
    ),
    (
        f"{UNITS}{LINK}over: cable, ^from_radio: mid}}\n",
        "'up' runs over cable, so from_radio means nothing; take it out, or write over: radio",
    ),
    (
        f"{UNITS}{LINK}over: powerline, ^to_radio: low}}\n",
        "'up' runs over powerline, so to_radio means nothing; take it out, or write over: radio",
    ),
    (
        f"{UNITS}{LINK}over: cable, ^radios: {{mid: mid}}}}\n",
        "'up' runs over cable, so radios means nothing; take it out, or write over: radio",
    ),
    (
        f"{UNITS}{LINK}over: radio, ^simultaneous: false}}\n",
        "'up' is not over several radios, so simultaneous means nothing; take it out, or name the "
        "radios under radios",
    ),
    (
        f"{UNITS}{LINK}over: radio, ^radios: {{}}}}\n",
        "'up' names no radio under radios; write for example {mid: mid, high: high}, or take it "
        "out",
    ),
    (
        f"{UNITS}{LINK}over: radio, ^from_radio: mid, radios: {{mid: mid, low: low}}}}\n",
        "'up' names its radios under radios, so from_radio means nothing; keep one of them",
    ),
    (  # the band comes from the model
        f"{UNITS}{LINK}over: radio, radios: {{^mid: low}}}}\n",
        "this leg of 'up' is at 5 GHz at 'barn' and at 2.4 GHz at 'gate'; both ends of a leg are "
        "on one band",
    ),
    (
        "units: {gate: {model: lark, radios: {alt: {band: 5}}}, barn: {model: lark, radios: "
        f"{{alt: {{band: 5}}}}}}}}\n{LINK}over: radio, radios: {{mid: mid, ^alt: alt}}}}\n",
        "two legs of 'up' are at 5 GHz, 'mid' and 'alt'; each leg has a band of its own",
    ),
    (
        "units: {gate: {model: lark}, barn: {model: lark, radios: {alt: {}}}}\n"
        f"{LINK}over: radio, radios: {{mid: mid, ^alt: mid}}}}\n",
        "radio 'mid' of 'gate' is in two legs of 'up'; each leg has radios of its own",
    ),
    (
        f"{UNITS}{LINK}over: radio, ^category: 6}}\n",
        "'up' runs over radio, so category means nothing; take it out, or write over: cable",
    ),
    (
        f"{UNITS}{LINK}over: radio, ^medium: fibre}}\n",
        "'up' runs over radio, so medium means nothing; take it out, or write over: cable",
    ),
    (
        f"{UNITS}{LINK}over: cable, medium: copper, category: ^OM3}}\n",
        "OM3 is not copper; change one of the two",
    ),
    (
        "units: {gate: {radios: {r: {band: 5, width_mhz: 40, ^second_channel: above}}}}\n",
        "second_channel has a meaning at 40 MHz in the 2.4 GHz band only; "
        "this radio is set to 5 GHz",
    ),
    (  # the band comes from the model
        "units: {gate: {model: lark, radios: {mid: {width_mhz: 80, ^second_channel: above}}}}\n",
        "second_channel has a meaning at 40 MHz in the 2.4 GHz band only; "
        "this radio is set to 5 GHz and 80 MHz",
    ),
    (
        "units: {gate: {radios: {r: {band: 6, width_mhz: 160, ^block: 1}}}}\n",
        "block has a meaning at 320 MHz in the 6 GHz band only; this radio is set to 160 MHz",
    ),
    (
        f"{UNITS}levels: {{l: {{^floor: {{}}}}}}\n",
        "a floor needs a material and thickness_mm, or a measured loss_db",
    ),
    (
        f"{UNITS}levels: {{l: {{walls: [{{path_m: [[0, 0], [1, 0]], ^thickness_mm: 9, "
        "loss_db: 4}]}}\n",
        "thickness_mm says nothing without a material; name the wall's material, "
        "or state its measured loss_db alone",
    ),
    (
        f"{UNITS}levels: {{l: {{floor: {{material: ^Brik, thickness_mm: 100}}}}}}\n",
        "no losses are published for 'Brik'; did you mean 'brick'? "
        "A measured loss_db serves for any",
    ),
    (
        f"{UNITS}readings: [^{{band: 5, level_dbm: -60}}]\n",
        "a reading is of a unit's signal or of a link; name it under unit or link",
    ),
    (
        f"{UNITS}clients: {{tills: {{count: 2, wired_to: gate, ^near: barn}}}}\n",
        "'tills' is wired to 'gate', so near means nothing; keep one, or make two groups of it",
    ),
    (
        f"{UNITS}networks: {{staff: {{name: ^Ærø Færge og Fjordbåde Mandskab}}}}\n",
        "a network name has at most 32 octets; this one has 35, since letters beyond "
        "plain ASCII take two or more each",
    ),
    (
        "units: {gate: {}, ^a/b: {}}\n",
        "units: a name cannot hold '/', which parts the names in findings and waivers; "
        "write '-' instead, for example",
    ),
    ("units: {gate: {radios: {^' ': {}}}}\n", "units/gate/radios: a name cannot be empty"),
]


@pytest.mark.parametrize(("text", "expected"), CASES, ids=[c[1][:60] for c in CASES])
def test_a_combination_that_means_nothing_is_told_with_its_place(text: str, expected: str) -> None:
    before, after = (BASE + text).split("^")
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    assert refused(before + after) == [(line, column, expected)]


def test_a_measured_loss_serves_for_a_wall_of_anything() -> None:
    wall = "{path_m: [[0, 0], [1, 0]], material: straw, loss_db: 2}"
    text = f"{UNITS}levels: {{l: {{walls: [{wall}]}}}}"
    load_site((BASE + text).encode(), "a.site.yaml", Catalogues())


def test_a_wall_of_which_only_the_path_is_known_is_taken() -> None:
    text = f"{UNITS}levels: {{l: {{walls: [{{path_m: [[0, 0], [1, 0]]}}]}}}}"
    load_site((BASE + text).encode(), "a.site.yaml", Catalogues())


def test_a_network_name_of_just_32_octets_is_taken() -> None:
    text = f"{UNITS}networks: {{staff: {{name: {'å' * 16}}}}}\n"
    load_site((BASE + text).encode(), "a.site.yaml", Catalogues())


@pytest.mark.parametrize(
    ("model", "unit", "width_and_height_deg"),
    [
        ("beam_deg: 30", "", (30, 30)),
        ("beam_deg: 360", "", (360, 180)),
        ("beam_deg: 30", "beam_deg: 60", (60, 60)),
        ("beam_width_deg: 90, beam_height_deg: 20", "beam_deg: 60", (60, 60)),
        ("beam_deg: 30", "beam_width_deg: 120", (120, 30)),
        ("beam_deg: 30, beam_height_deg: 10", "", (30, 10)),
        ("", "beam_deg: 45", (45, 45)),
        ("", "", (None, None)),
    ],
)
def test_a_beam_of_one_angle_counts_across_and_in_height(
    model: str, unit: str, width_and_height_deg: tuple[float | None, float | None]
) -> None:
    """As data sheets give round beams; what a unit says goes before what its model says."""
    text = (
        f"meshlint: 1\nsite: {{name: A}}\nmodels: {{dish: {{radios: {{far: {{{model}}}}}}}}}\n"
        f"primary: desk\nunits: {{desk: {{model: dish, radios: {{far: {{{unit}}}}}}}}}\n"
    )
    site, _ = load_site(text.encode(), "a.site.yaml", Catalogues())
    far = site.units["desk"].radios["far"]
    assert (far.beam_width_deg, far.beam_height_deg) == width_and_height_deg
