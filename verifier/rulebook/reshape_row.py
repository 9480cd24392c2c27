"""One reshaping that a sheet asks for: what is done to the true copy before it is printed."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from verifier.rulebook.row import Finite, Positive, plain_mistake

Doing = Literal["mirror", "lengthen", "thicken", "true up", "restore", "cut", "engrave"]
Along = Literal["length", "width", "height"]
Joint = Literal["dowels", "key", "none"]

# Which keys each may have. Those it cannot do without are checked one by one below.
KEYS_OF: dict[Doing, tuple[str, ...]] = {
    "mirror": ("of",),
    "lengthen": ("by", "between", "along", "planes"),
    "thicken": ("by", "face", "wall", "side"),
    "true up": ("what",),
    "restore": ("across", "worn"),
    "cut": ("between", "along", "at", "joint", "dowel"),
    "engrave": ("text", "face", "height", "depth", "raised"),
}
# What there are strokes for; small letters are engraved as capitals.
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./+ "
# What a letter is made of on a printer with a strand of 0.4 mm: lower ones run together. Common practice, no source.
LEAST_LETTER_MM = 3.0


class Reshape(BaseModel):
    """What is to be done, and the keys that say where and how much.

    of : (mirror) the part whose scan this one is made from
    by : mm, longer (or shorter, below nought) or thicker
    between : two bores or bosses; planes and at are counted from the axis of the first towards the second
    along : an overall size's direction, in place of between
    planes : the two cut planes, mm; left out, the longest stretch of one section is taken
    face : 'top' or 'bottom' as it prints, or a flat face by its name in the report, such as 'plane 3'
    wall, side : a row of kind thickness, and which of its two faces grows
    what : bores and flat faces that become true; left out, every flat face
    across, worn : which way the mirrored sides lie apart, and a bore or boss on the worn one; left out, the
        one with less material
    at : where it is cut, mm; left out, where the bed wants it
    joint, dowel : how the pieces find each other; diameter of the dowel, mm
    text, height, depth : letters and digits, their height and how deep they go, mm
    raised : the letters stand out of the face by depth, and are not cut into it
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    do: Doing
    of: Annotated[str, Field(min_length=1, max_length=120)] | None = None
    by: Annotated[float, Field(gt=-5_000, lt=5_000, allow_inf_nan=False)] | None = None
    between: tuple[str, str] | None = None
    along: Along | None = None
    planes: tuple[Finite, Finite] | None = None
    face: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    wall: str | None = None
    side: Literal["outwards", "inwards"] | None = None
    what: Annotated[tuple[str, ...], Field(min_length=1)] | None = None
    across: Along | None = None
    worn: str | None = None
    at: Annotated[tuple[Finite, ...], Field(min_length=1, max_length=20)] | None = None
    joint: Joint | None = None
    dowel: Annotated[float, Field(ge=1.5, le=50)] | None = None
    text: Annotated[str, Field(min_length=1, max_length=60)] | None = None
    height: Annotated[float, Field(ge=LEAST_LETTER_MM, le=200)] | None = None
    depth: Positive | None = None
    raised: bool | None = None

    @model_validator(mode="after")
    def _has_its_keys(self) -> Self:
        mine = KEYS_OF[self.do]
        given = [key for key in type(self).model_fields if key != "do" and getattr(self, key) is not None]
        for key in given:
            if key not in mine:
                raise plain_mistake(f"'{self.do}' has no {key}", f"Take it out; its keys are {', '.join(mine)}")
        return self

    @model_validator(mode="after")
    def _says_enough(self) -> Self:
        match self.do:
            case "lengthen":
                self._want("by", "by how much", "by = 20")
                self._want_a_direction()
            case "thicken":
                self._want("by", "by how much", "by = 0.6")
                self._want_a_face()
            case "restore":
                self._want("across", "which way its two sides lie apart", 'across = "length"')
            case "cut":
                self._check_cut()
            case "engrave":
                self._want("text", "what", 'text = "…"')
                self._want("face", "where", 'face = "top"')
                self._check_letters()
        return self

    def _check_letters(self) -> None:
        without = sorted({letter for letter in (self.text or "").upper() if letter not in LETTERS})
        if without or not (self.text or "").strip():
            told = f"there is no stroke for {without[0]!r}" if without else "this text is empty, and has no stroke"
            raise plain_mistake(told, f"Write it with letters, digits and {LETTERS[36:-1]}")

    def _want(self, key: str, missing: str, example: str) -> None:
        if getattr(self, key) is None:
            raise plain_mistake(f"'{self.do}' does not say {missing}", f"Add a line {example}")

    def _want_a_direction(self) -> None:
        if self.by == 0:
            raise plain_mistake("by is nought, which changes nothing", "Give the length to add, or take away, in mm")
        if (self.between is None) == (self.along is None):
            do = 'Add a line between = ["…", "…"] with two bores or bosses, or along = "length", and not both'
            raise plain_mistake(f"'{self.do}' does not say between what", do)
        if self.planes is not None and self.between is None:
            raise plain_mistake("planes are counted from a bore, and none is named", 'Add between = ["…", "…"]')
        if self.planes is not None and not self.planes[0] < self.planes[1]:
            raise plain_mistake("these planes are not in their order", "Write planes = [nearer, farther], in mm")

    def _want_a_face(self) -> None:
        if self.by is not None and self.by <= 0:
            raise plain_mistake(f"'{self.do}' by {self.by:g} adds nothing", "Give the thickness to add, in mm")
        if (self.face is None) == (self.wall is None):
            do = 'Add face = "top", or wall = "…" with a row of kind thickness and side = "outwards", and not both'
            raise plain_mistake(f"'{self.do}' does not say which face", do)
        if (self.wall is None) != (self.side is None):
            do = 'Add side = "outwards" or "inwards" to a wall, and to nothing else'
            raise plain_mistake("a wall grows on one of its two sides", do)

    def _check_cut(self) -> None:
        if self.between is not None and self.along is not None:
            raise plain_mistake("'cut' goes between two bores or along a size, not both", "Take one of the two out")
        if self.at is not None and self.between is None:
            raise plain_mistake("at is counted from a bore, and none is named", 'Add between = ["…", "…"]')
        if self.at is not None and list(self.at) != sorted(set(self.at)):
            raise plain_mistake("these cuts are not in their order", "Write the nearest to the first bore first")
        if self.dowel is not None and self.joint in ("key", "none"):
            raise plain_mistake(f"a joint of kind '{self.joint}' has no dowel", "Take one of the two out")
