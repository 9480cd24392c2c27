"""What powder does to a size, in plain numbers: it may lie thinner in bores and slots than on the faces."""


def powder_mm(walls: float, coat_mm: float, inside_mm: float) -> float:
    """How much longer the scan shows a size than the part has it.

    walls : coated walls the size crosses, see `measuring.size.Size`; the negative ones lie inside bores and slots
    """
    return max(walls, 0.0) * coat_mm + min(walls, 0.0) * inside_mm
