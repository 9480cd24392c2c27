"""A picture made small enough to stand in a page with many others."""

import base64
import io

from PIL import Image


def data_uri(png: bytes, wide: int) -> str:
    """The picture as a data URI, no wider than this many pixels."""
    picture = Image.open(io.BytesIO(png))
    if picture.width > wide:
        out, tall = io.BytesIO(), round(picture.height * wide / picture.width)
        picture.resize((wide, tall), Image.Resampling.BOX).save(out, "PNG", optimize=True)
        png = out.getvalue()
    return f"data:image/png;base64,{base64.b64encode(png).decode()}"
