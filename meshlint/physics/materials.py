"""What a wall of a known material costs a radio signal.

Electrical properties and slab transmission of ITU-R P.2040-3 (08/2023); edition -4 keeps the same
figures from 1 to 100 GHz and adds the rows marked so below. The text was not read; the figures
and equation numbers were seen in the public ray tracer `sionna-rt` (1.0.0 and 2.2.0), which cites
them. Editions before -3 differ: 200 mm of concrete gained 4 to 7 dB, so the edition matters.

A slab is a smooth, uniform sheet. Studs, mortar joints, reinforcement, furniture and coatings are
not in it, so a real wall usually loses more. Low-emissivity coated or foil-backed panes are near
to metal and not in the table: state a measured loss for them.
"""

from __future__ import annotations

import cmath
import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.propagation import SPEED_OF_LIGHT_M_S, OutsideModel

if TYPE_CHECKING:
    from collections.abc import Iterable

# CODATA 2018, F/m. The rounded 17.98 of P.2040 (1 / (2 pi eps0 1e9)) is 0.03 % larger.
VACUUM_PERMITTIVITY_F_M: Final = 8.8541878128e-12

_THIRD = "ITU-R P.2040-3, 2.1.4, Table 3"
_FOURTH = "ITU-R P.2040-4, 2.1.4, Table 3"
_RIGHT_ANGLE_DEG = 90.0


class Material(Struct, frozen=True):
    """A row of the table: eps_r = a f^b and sigma = c f^d (S/m), f in GHz, inside its range."""

    name: str
    a: float
    b: float
    c: float
    d: float
    low_ghz: float
    high_ghz: float
    source: str = _THIRD


MATERIALS: Final[dict[str, Material]] = {
    material.name: material
    for material in (
        Material("concrete", 5.24, 0, 0.0462, 0.7822, 1, 100),
        Material("brick", 3.91, 0, 0.0238, 0.16, 1, 40),
        Material("plasterboard", 2.73, 0, 0.0085, 0.9395, 1, 100),
        Material("wood", 1.99, 0, 0.0047, 1.0718, 0.001, 100),
        Material("glass", 6.31, 0, 0.0036, 1.3394, 0.1, 100),
        Material("ceiling board", 1.48, 0, 0.0011, 1.0750, 1, 100),
        Material("chipboard", 2.58, 0, 0.0217, 0.7800, 1, 100),
        Material("plywood", 2.71, 0, 0.33, 0, 1, 40),
        Material("marble", 7.074, 0, 0.0055, 0.9262, 1, 60),
        Material("floorboard", 3.66, 0, 0.0044, 1.3515, 50, 100),
        Material("vinyl tile", 3.62, 0, 0.0051, 0.8422, 1, 40, _FOURTH),
        Material("carpet tile", 2.08, 0, 0.0009, 0.8200, 1, 40, _FOURTH),
        Material("asphalt concrete", 4.83, 0, 0.0108, 1.3969, 1, 40, _FOURTH),
        Material("metal", 1, 0, 1e7, 0, 1, 100),
    )
}


class Layer(Struct, frozen=True):
    """One sheet of a wall or floor."""

    material: str
    thickness_mm: float


def material(name: str, frequency_mhz: float) -> Material:
    """Return a material that is published at this frequency; raises OutsideModel otherwise.

    Floorboard, published for 50-100 GHz only, is refused at Wi-Fi frequencies.
    """
    found = MATERIALS.get(name)
    if found is None:
        message = f"ITU-R P.2040 has no material {name!r}; it has {', '.join(sorted(MATERIALS))}"
        raise OutsideModel(message)
    if not found.low_ghz <= frequency_mhz / 1000 <= found.high_ghz:
        message = (
            f"{name} is published from {found.low_ghz:g} to {found.high_ghz:g} GHz only "
            f"({found.source}), not at {frequency_mhz / 1000:g} GHz"
        )
        raise OutsideModel(message)
    return found


def conductivity_s_m(substance: Material, frequency_mhz: float) -> float:
    """Return the conductivity sigma = c f^d in S/m (P.2040-3 eq. (29), number second-hand)."""
    return float(substance.c * (frequency_mhz / 1000) ** substance.d)


def complex_permittivity(substance: Material, frequency_mhz: float) -> complex:
    """Return the relative complex permittivity eps_r - j sigma / (2 pi f eps0)."""
    real = substance.a * (frequency_mhz / 1000) ** substance.b
    omega = 2 * math.pi * frequency_mhz * 1e6
    loss = conductivity_s_m(substance, frequency_mhz) / (omega * VACUUM_PERMITTIVITY_F_M)
    return complex(real, -loss)


def slab_loss_db(
    substance: Material, thickness_mm: float, frequency_mhz: float, incidence_deg: float = 0.0
) -> float:
    """Return the loss in dB of a slab without interference between its faces (ripple-free).

    (1-R)^2 A / (1 - R^2 A^2), R = |r|^2 the power reflected at a face, A = exp(-2 k0 d |Im
    sqrt(eta - sin^2 theta)|) the power left after one crossing (a textbook sum of powers, from
    memory). This is what the coherent slab gives on average over thickness or frequency, and
    steady: a millimetre more never makes a wall lose less. Sheets far thinner than a quarter of the
    wavelength inside them (a coat of paint) are overstated. ``incidence_deg`` is measured from the
    wall's normal, below 90; at an angle the powers of the two polarisations (TE and TM) are
    averaged, since a device is held any way up.
    """
    _check_slab(thickness_mm, incidence_deg)
    faces = _faces(complex_permittivity(substance, frequency_mhz), math.radians(incidence_deg))
    exponent = _electrical_depth(substance, thickness_mm, frequency_mhz, incidence_deg).imag * 2
    # Logarithms throughout: a metal sheet's A is below the smallest number a float can hold.
    crossing_db = -10 * math.log10(math.e) * exponent
    crossing = math.exp(exponent)
    passed = 0.0
    for outside, inside in faces:
        reflected = abs((outside - inside) / (outside + inside)) ** 2
        entered = 4 * (outside * inside.conjugate()).real / abs(outside + inside) ** 2
        passed += entered**2 / (1 - (reflected * crossing) ** 2) / 2
    return crossing_db - 10 * math.log10(passed)


def coherent_slab_loss_db(
    substance: Material, thickness_mm: float, frequency_mhz: float, incidence_deg: float = 0.0
) -> float:
    """Return the loss in dB of a slab with the interference between its faces.

    P.2040-3 eqs (43b) and (44): T = (1 - r^2) exp(-jq) / (1 - r^2 exp(-2jq)), q = (2 pi d /
    lambda) sqrt(eta - sin^2 theta), r by Fresnel, eqs (37a) and (37b). Exact for a perfect sheet
    at one frequency and angle; it ripples by several dB with thickness, so `slab_loss_db` is the
    one to plan with. TE and TM powers averaged.
    """
    _check_slab(thickness_mm, incidence_deg)
    faces = _faces(complex_permittivity(substance, frequency_mhz), math.radians(incidence_deg))
    q = _electrical_depth(substance, thickness_mm, frequency_mhz, incidence_deg)
    crossing_db = -20 * math.log10(math.e) * q.imag
    round_trip = cmath.exp(-2j * q)
    passed = 0.0
    for outside, inside in faces:
        squared = ((outside - inside) / (outside + inside)) ** 2
        entered = 4 * outside * inside / (outside + inside) ** 2
        passed += abs(entered / (1 - squared * round_trip)) ** 2 / 2
    return crossing_db - 10 * math.log10(passed)


def wall_loss_db(
    layers: Iterable[Layer], frequency_mhz: float, incidence_deg: float = 0.0
) -> float:
    """Return the loss in dB of a wall of layers, the sum of their ripple-free slab losses.

    Power that bounces to and fro between two layers is left out, which overstates the loss by at
    most -10 log10(1 - R1 R2): under 0.1 dB for two sheets of plasterboard, more between panes of
    glass. Raises OutsideModel for a material not published at the frequency.
    """
    return math.fsum(
        slab_loss_db(
            material(layer.material, frequency_mhz),
            layer.thickness_mm,
            frequency_mhz,
            incidence_deg,
        )
        for layer in layers
    )


def _faces(eta: complex, theta: float) -> tuple[tuple[complex, complex], ...]:
    """Return, for TE and TM, two numbers whose difference over sum is Fresnel's r at a face."""
    cosine, inner = math.cos(theta), cmath.sqrt(eta - math.sin(theta) ** 2)
    return ((complex(cosine), inner), (complex(cosine), inner / eta))


def _electrical_depth(
    substance: Material, thickness_mm: float, frequency_mhz: float, incidence_deg: float
) -> complex:
    """Return q, the phase (real part) and decay (imaginary part, not above 0) of one crossing."""
    wave_number = 2 * math.pi * frequency_mhz * 1e6 / SPEED_OF_LIGHT_M_S
    eta = complex_permittivity(substance, frequency_mhz)
    inner = cmath.sqrt(eta - math.sin(math.radians(incidence_deg)) ** 2)
    return wave_number * thickness_mm / 1000 * inner


def _check_slab(thickness_mm: float, incidence_deg: float) -> None:
    if not (thickness_mm > 0 and 0 <= incidence_deg < _RIGHT_ANGLE_DEG):
        message = (
            f"a slab needs a thickness above 0 mm and an angle from 0 to below 90 degrees, "
            f"not {thickness_mm}, {incidence_deg}"
        )
        raise ValueError(message)
