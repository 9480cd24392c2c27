"""What a print takes: filled volume, mass, length of filament, cost."""

import math
from dataclasses import dataclass

from verifier.mesh import Mesh, area_mm2, volume_mm3
from verifier.rulebook.rules import Filament

# Three outlines of 0.4 mm, and as much above and below. Common practice, no source.
OUTLINE_MM = 1.2


@dataclass(frozen=True, slots=True)
class Filling:
    """What goes into one print; notes are sentences for the report."""

    mass_g: float
    filament_m: float
    cost: float
    notes: tuple[str, ...] = ()


def fill(mesh: Mesh, infill: float, filament: Filament) -> Filling:
    """Count one print of a closed mesh, solid for infill 1."""
    whole_mm3 = volume_mm3(mesh)
    filled_mm3 = whole_mm3 if infill == 1.0 else filled_volume_mm3(whole_mm3, area_mm2(mesh), infill)
    mass_g = filled_mm3 / 1000.0 * filament.density_g_cm3
    notes = () if infill == 1.0 else (f"The mass is an estimate for {100 * infill:.0f} % infill.",)
    return Filling(mass_g, filament_length_m(mass_g, filament), mass_g / 1000.0 * filament.price_per_kg, notes)


def filled_volume_mm3(volume_mm3: float, area_mm2: float, infill: float) -> float:
    """Outlines solid, the rest by the share: V_shell + infill * (V - V_shell), V_shell = area * outline.

    A part thinner than its outlines is solid.
    """
    shell_mm3 = min(area_mm2 * OUTLINE_MM, volume_mm3)
    return shell_mm3 + infill * (volume_mm3 - shell_mm3)


def filament_length_m(mass_g: float, filament: Filament) -> float:
    """Length of the strand with this mass."""
    g_per_m = filament.density_g_cm3 * math.pi / 4.0 * filament.diameter_mm**2
    return mass_g / g_per_m
