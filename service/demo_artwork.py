"""The demonstration artwork: a hill under a sun, drawn here and invented by us."""

from __future__ import annotations

import io

from PIL import Image, ImageDraw

from service.domain.errors import NotFound
from service.intake.artworks import get_artwork, upload_artwork
from service.intake.services import Caller, Services

DEMO_HOLDER = "demo-storefront"
DEMO_ARTWORK_ID = "art_demo-hill"
_WIDTH_PX, _HEIGHT_PX = 2_400, 2_000


def draw_demo_artwork() -> bytes:
    """A 2400 x 2000 px PNG with a transparent ground, in four flat colours."""
    picture = Image.new("RGBA", (_WIDTH_PX, _HEIGHT_PX), (0, 0, 0, 0))
    draw = ImageDraw.Draw(picture)
    draw.ellipse((1_300, 100, 2_100, 900), fill=(244, 180, 26, 255))
    draw.polygon([(60, 1_700), (900, 500), (1_740, 1_700)], fill=(46, 125, 50, 255))
    draw.polygon([(900, 1_700), (1_560, 860), (2_340, 1_700)], fill=(129, 178, 20, 255))
    draw.rounded_rectangle((60, 1_660, 2_340, 1_900), radius=110, fill=(21, 101, 192, 255))
    kept = io.BytesIO()
    picture.save(kept, format="PNG", optimize=True)
    return kept.getvalue()


def seed_demo_artwork(services: Services) -> str:
    """Put the demonstration artwork in the store under its fixed id, once; gives the id."""
    caller = Caller(DEMO_HOLDER)
    try:
        get_artwork(services, caller, DEMO_ARTWORK_ID)
    except NotFound:
        upload_artwork(
            services,
            caller,
            draw_demo_artwork(),
            declared_media_type="image/png",
            rights_declared=True,
            artwork_id=DEMO_ARTWORK_ID,
        )
    return DEMO_ARTWORK_ID
