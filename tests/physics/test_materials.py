"""Walls against ITU-R P.2040, a transfer-matrix calculation and plain laws."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.materials import (
    MATERIALS,
    Layer,
    Material,
    coherent_slab_loss_db,
    complex_permittivity,
    conductivity_s_m,
    material,
    slab_loss_db,
    wall_loss_db,
)
from meshlint.physics.propagation import OutsideModel

# ITU-R P.2040-1 (07/2015) Table 3, the edition before ours: its worked figures are published.
FIRST = {
    row.name: row
    for row in (
        Material("concrete", 5.31, 0, 0.0326, 0.8095, 1, 100),
        Material("brick", 3.75, 0, 0.038, 0, 1, 10),
        Material("plasterboard", 2.94, 0, 0.0116, 0.7076, 1, 100),
        Material("wood", 1.99, 0, 0.0047, 1.0718, 0.001, 100),
        Material("glass", 6.27, 0, 0.0043, 1.1925, 0.1, 100),
        Material("ceiling board", 1.50, 0, 0.0005, 1.1634, 1, 100),
        Material("chipboard", 2.58, 0, 0.0217, 0.7800, 1, 100),
    )
}
WIFI = sorted(name for name, row in MATERIALS.items() if row.low_ghz < 50)
SLABS_MHZ = (2400, 5250, 6000)

names = st.sampled_from(WIFI)
solid_names = st.sampled_from([name for name in WIFI if name != "metal"])
frequencies = st.floats(2400, 7125)
thicknesses = st.floats(1, 400)
angles = st.floats(0, 85)


@pytest.mark.parametrize(
    ("name", "permittivity", "conductivity"),
    [
        ("concrete", 5.31, 0.19305),
        ("brick", 3.75, 0.038),
        ("plasterboard", 2.94, 0.054914),
        ("wood", 1.99, 0.049528),
        ("glass", 6.27, 0.059075),
    ],
)
def test_a_published_example_at_nine_gigahertz(
    name: str, permittivity: float, conductivity: float
) -> None:
    """Manual page `buildingMaterialPermittivity` (R2021a, mathworks.com), P.2040-1 figures."""
    assert complex_permittivity(FIRST[name], 9000).real == pytest.approx(permittivity)
    assert conductivity_s_m(FIRST[name], 9000) == pytest.approx(conductivity, abs=1e-5)


def test_the_loss_part_of_the_permittivity_has_the_published_constant() -> None:
    """P.2040 writes it 17.98 sigma / f(GHz), the exact constant 17.975."""
    found = complex_permittivity(MATERIALS["concrete"], 5000)
    assert -found.imag == pytest.approx(17.98 * 0.0462 * 5**0.7822 / 5, rel=4e-4)


# At 2.4 / 5.25 / 6.0 GHz and normal incidence, worked out apart from this code from P.2040-3
# eqs (43b) and (44) (coherent) and the textbook power sum (steady).
COHERENT = [
    ("brick", 100, (3.83, 4.04, 4.13), (3.02, 3.08, 3.16)),
    ("brick", 200, (7.32, 7.53, 7.55), (5.71, 5.95, 6.09)),
    ("concrete", 100, (6.30, 10.18, 11.33), (8.10, 13.44, 14.82)),
    ("concrete", 200, (11.00, 19.17, 21.22), (14.57, 25.57, 28.24)),
    ("plasterboard", 12.5, (1.24, 1.04, 0.75), (1.07, 1.09, 0.86)),
    ("plasterboard", 25, (1.31, 1.99, 1.69), (1.24, 1.94, 1.88)),
    ("glass", 6, (1.89, 3.30, 3.10), (1.91, 3.33, 3.12)),
    ("wood", 40, (0.61, 1.35, 1.78), (0.61, 1.35, 1.78)),
    ("chipboard", 18, (1.67, 1.60, 1.98), (1.67, 1.60, 1.98)),
    ("ceiling board", 15, (0.14, 0.21, 0.17), (0.17, 0.26, 0.24)),
    ("plywood", 18, None, (6.24, 6.24, 6.41)),
    ("marble", 20, None, (1.18, 1.26, 1.27)),
]
STEADY = [
    ("brick", 100, (4.14, 4.13, 4.13), (3.24, 3.54, 3.60)),
    ("brick", 200, (7.35, 7.35, 7.35), (5.52, 6.12, 6.23)),
    ("concrete", 100, (6.17, 10.33, 11.34), (8.00, 13.53, 14.86)),
    ("concrete", 200, (10.88, 19.19, 21.21), (14.54, 25.59, 28.25)),
    ("plasterboard", 12.5, (0.87, 1.06, 1.10), (0.77, 1.03, 1.10)),
    ("plasterboard", 25, (1.12, 1.51, 1.60), (1.01, 1.53, 1.67)),
    ("glass", 6, (1.67, 1.75, 1.77), (1.68, 1.77, 1.79)),
    ("wood", 40, (0.81, 1.54, 1.74), (0.81, 1.54, 1.74)),
    ("chipboard", 18, (1.28, 1.94, 2.10), (1.28, 1.94, 2.10)),
    ("marble", 20, None, (1.98, 2.15, 2.20)),
]


@pytest.mark.parametrize(("name", "thickness_mm", "first_db", "third_db"), COHERENT)
def test_the_coherent_slab(
    name: str,
    thickness_mm: float,
    first_db: tuple[float, ...] | None,
    third_db: tuple[float, ...],
) -> None:
    for at, frequency_mhz in enumerate(SLABS_MHZ):
        found_db = coherent_slab_loss_db(MATERIALS[name], thickness_mm, frequency_mhz)
        assert found_db == pytest.approx(third_db[at], abs=0.01)
        if first_db:
            earlier_db = coherent_slab_loss_db(FIRST[name], thickness_mm, frequency_mhz)
            assert earlier_db == pytest.approx(first_db[at], abs=0.01)


@pytest.mark.parametrize(("name", "thickness_mm", "first_db", "third_db"), STEADY)
def test_the_steady_slab(
    name: str,
    thickness_mm: float,
    first_db: tuple[float, ...] | None,
    third_db: tuple[float, ...],
) -> None:
    for at, frequency_mhz in enumerate(SLABS_MHZ):
        found_db = slab_loss_db(MATERIALS[name], thickness_mm, frequency_mhz)
        assert found_db == pytest.approx(third_db[at], abs=0.01)
        if first_db:
            earlier_db = slab_loss_db(FIRST[name], thickness_mm, frequency_mhz)
            assert earlier_db == pytest.approx(first_db[at], abs=0.01)


def stack_loss_db(
    sheets: list[tuple[complex, float]], frequency_mhz: float, incidence_deg: float = 0.0
) -> float:
    """Transmission through a stack of sheets by characteristic matrices, TE and TM averaged.

    The method of thin-film optics (Born and Wolf, Principles of Optics, 1.6), which knows nothing
    of the slab formula: each sheet a 2 x 2 matrix of the tangential fields, multiplied up.
    """
    wave_number = 2 * math.pi * frequency_mhz * 1e6 / 299_792_458
    sine, cosine = math.sin(math.radians(incidence_deg)), math.cos(math.radians(incidence_deg))
    passed = 0.0
    for magnetic in (False, True):
        b00, b01, b10, b11 = 1 + 0j, 0j, 0j, 1 + 0j
        for eta, thickness_m in sheets:
            normal = cmath.sqrt(eta - sine**2)
            admittance = eta / normal if magnetic else normal
            phase = wave_number * normal * thickness_m
            m00, m01 = cmath.cos(phase), 1j * cmath.sin(phase) / admittance
            m10 = 1j * cmath.sin(phase) * admittance
            b00, b01, b10, b11 = (
                b00 * m00 + b01 * m10,
                b00 * m01 + b01 * m00,
                b10 * m00 + b11 * m10,
                b10 * m01 + b11 * m00,
            )
        air = 1 / cosine if magnetic else cosine
        field = 2 * air / (air * (b00 + b01 * air) + b10 + b11 * air)
        passed += abs(field) ** 2 / 2
    return -10 * math.log10(passed)


@given(solid_names, st.floats(1, 200), frequencies, angles)
def test_a_transfer_matrix_finds_the_same_slab(
    name: str, thickness_mm: float, frequency_mhz: float, incidence_deg: float
) -> None:
    row = MATERIALS[name]
    sheets = [(complex_permittivity(row, frequency_mhz), thickness_mm / 1000)]
    expected_db = stack_loss_db(sheets, frequency_mhz, incidence_deg)
    found_db = coherent_slab_loss_db(row, thickness_mm, frequency_mhz, incidence_deg)
    assert found_db == pytest.approx(expected_db, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "sheet_mm", "gap_mm", "losses_db"),
    [
        ("plasterboard", 12.5, 75, (0.80, 1.67, 1.88)),
        ("plasterboard", 12.5, 100, (3.41, 2.51, 1.89)),
        ("glass", 4, 12, (0.54, 7.74, 9.47)),
    ],
)
def test_the_transfer_matrix_meets_worked_double_sheets(
    name: str, sheet_mm: float, gap_mm: float, losses_db: tuple[float, ...]
) -> None:
    """Figures worked out apart from it, so that the yardstick itself is known to be straight."""
    for frequency_mhz, loss_db in zip(SLABS_MHZ, losses_db, strict=True):
        eta = complex_permittivity(MATERIALS[name], frequency_mhz)
        sheets = [(eta, sheet_mm / 1000), (1 + 0j, gap_mm / 1000), (eta, sheet_mm / 1000)]
        assert stack_loss_db(sheets, frequency_mhz) == pytest.approx(loss_db, abs=0.01)


@pytest.mark.parametrize("incidence_deg", [0, 45])
@pytest.mark.parametrize("name", ["plasterboard", "glass", "wood"])
def test_the_steady_slab_is_the_mean_of_the_coherent_one(name: str, incidence_deg: float) -> None:
    """Averaging the power over one ripple of thickness leaves the ripple-free form.

    Where a material absorbs, the two need not agree to the last digit: 0.1 dB is allowed.
    """
    row, frequency_mhz = MATERIALS[name], 5500
    eta = complex_permittivity(row, frequency_mhz)
    inner = cmath.sqrt(eta - math.sin(math.radians(incidence_deg)) ** 2).real
    ripple_mm = 299_792_458 / (frequency_mhz * 1e6) / (2 * inner) * 1000
    steps, middle_mm = 200, 30.0
    powers = [
        10 ** (-coherent_slab_loss_db(row, thickness_mm, frequency_mhz, incidence_deg) / 10)
        for thickness_mm in (middle_mm + ripple_mm * (step / steps - 0.5) for step in range(steps))
    ]
    mean_db = -10 * math.log10(math.fsum(powers) / steps)
    found_db = slab_loss_db(row, middle_mm, frequency_mhz, incidence_deg)
    assert found_db == pytest.approx(mean_db, abs=0.1)


@given(names, thicknesses, thicknesses, frequencies, angles)
def test_a_thicker_wall_never_loses_less(
    name: str, one_mm: float, other_mm: float, frequency_mhz: float, incidence_deg: float
) -> None:
    thin_mm, thick_mm = sorted((one_mm, other_mm))
    row = MATERIALS[name]
    thin_db = slab_loss_db(row, thin_mm, frequency_mhz, incidence_deg)
    assert slab_loss_db(row, thick_mm, frequency_mhz, incidence_deg) >= thin_db - 1e-12


@given(names, thicknesses, frequencies, angles)
def test_a_wall_never_helps(
    name: str, thickness_mm: float, frequency_mhz: float, incidence_deg: float
) -> None:
    row = MATERIALS[name]
    assert slab_loss_db(row, thickness_mm, frequency_mhz, incidence_deg) > 0
    assert coherent_slab_loss_db(row, thickness_mm, frequency_mhz, incidence_deg) > -1e-9


@given(names, thicknesses, frequencies)
def test_one_layer_is_its_slab_and_layers_add_up(
    name: str, thickness_mm: float, frequency_mhz: float
) -> None:
    slab_db = slab_loss_db(MATERIALS[name], thickness_mm, frequency_mhz)
    layer = Layer(name, thickness_mm)
    assert wall_loss_db([layer], frequency_mhz) == slab_db
    board_db = slab_loss_db(MATERIALS["plasterboard"], 12.5, frequency_mhz)
    both_db = wall_loss_db([layer, Layer("plasterboard", 12.5)], frequency_mhz)
    assert both_db == pytest.approx(slab_db + board_db)


def test_no_layers_lose_nothing() -> None:
    assert wall_loss_db([], 5250) == 0


def test_a_double_sheet_summed_is_within_its_stated_error() -> None:
    """Two sheets of plasterboard, the gap averaged over a wavelength, by the transfer matrix."""
    frequency_mhz = 5250
    eta = complex_permittivity(MATERIALS["plasterboard"], frequency_mhz)
    wavelength_m = 299_792_458 / (frequency_mhz * 1e6)
    steps = 200
    powers = []
    for step in range(steps):
        gap_m = 0.075 + wavelength_m / 2 * step / steps
        sheets = [(eta, 0.0125), (1 + 0j, gap_m), (eta, 0.0125)]
        powers.append(10 ** (-stack_loss_db(sheets, frequency_mhz) / 10))
    mean_db = -10 * math.log10(math.fsum(powers) / steps)
    board = Layer("plasterboard", 12.5)
    slab_ripple_db = 2 * (
        coherent_slab_loss_db(MATERIALS["plasterboard"], 12.5, frequency_mhz)
        - slab_loss_db(MATERIALS["plasterboard"], 12.5, frequency_mhz)
    )
    found_db = wall_loss_db([board, board], frequency_mhz) + slab_ripple_db
    assert mean_db <= found_db < mean_db + 0.1


def test_metal_is_as_good_as_closed() -> None:
    """Beyond what a float could hold as a ratio; each micrometre costs decibels.

    Skin depth at 5 GHz and 1e7 S/m: sqrt(2 / (omega mu sigma)) = 2.25 um, 8.686 dB each.
    """
    skin_mm = math.sqrt(2 / (2 * math.pi * 5e9 * 4e-7 * math.pi * 1e7)) * 1000
    metal = MATERIALS["metal"]
    per_skin_depth_db = slab_loss_db(metal, 1 + skin_mm, 5000) - slab_loss_db(metal, 1, 5000)
    assert per_skin_depth_db == pytest.approx(8.686, abs=0.001)
    assert slab_loss_db(metal, 1, 5000) > 1000
    assert math.isfinite(slab_loss_db(metal, 400, 7125))


def test_floorboard_is_refused_at_wifi_frequencies() -> None:
    with pytest.raises(OutsideModel, match="50 to 100 GHz"):
        material("floorboard", 5250)
    with pytest.raises(OutsideModel, match="50 to 100 GHz"):
        wall_loss_db([Layer("floorboard", 20)], 2437)
    assert material("floorboard", 60_000).a == 3.66


def test_an_unknown_material_is_told_what_there_is() -> None:
    with pytest.raises(OutsideModel, match="plasterboard"):
        material("straw", 5250)


@pytest.mark.parametrize(("thickness_mm", "incidence_deg"), [(0, 0), (-1, 0), (10, 90), (10, -1)])
def test_impossible_slabs_are_refused(thickness_mm: float, incidence_deg: float) -> None:
    with pytest.raises(ValueError, match="a slab needs"):
        slab_loss_db(MATERIALS["brick"], thickness_mm, 5250, incidence_deg)
