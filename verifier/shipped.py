"""The rules and the demo that travel with the verifier: inside the installed package, or at the top of a checkout."""

from pathlib import Path

from verifier.errors import CannotOpen

PACKAGE = Path(__file__).parent


def rules_folder() -> Path:
    """The folder of rules a new bench begins with. Raises CannotOpen when the installation lacks it."""
    return _folder("rules")


def demo_folder() -> Path:
    """The folder of the demo's exports and sheets. Raises CannotOpen when the installation lacks it."""
    return _folder("inbox_demo")


def _folder(name: str) -> Path:
    for folder in (PACKAGE / "_shipped" / name, PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise CannotOpen(f"the folder '{name}' that comes with it is missing", where="verifier", do="Install it again")
