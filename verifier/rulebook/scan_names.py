"""What the name of a scan's file tells."""

SCAN_ENDINGS = (".stl", ".ply", ".obj", ".3mf", ".glb", ".off")


def scan_number(name: str) -> int | None:
    """Which scan of its part a file is by its name: 2 for seat_armrest.2.ply; None for a whole one."""
    second = (*name.split("."), "")[1]
    return int(second) if second.isascii() and second.isdigit() and len(second) < 4 else None
