"""Whatever colours a decoded picture is in, as 8-bit RGBA in sRGB."""

from __future__ import annotations

from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

_STRIP_PIXELS = 1 << 18


def rgba_srgb(image: Image.Image) -> Image.Image:
    """Any decoded picture as 8-bit RGBA in sRGB; without a usable profile it counts as sRGB."""
    profile = image.info.get("icc_profile")
    if image.mode.startswith("I"):
        image = _eight_bit_grey(image)
    if image.mode == "La":
        # Only this step leads away from grey that was multiplied by its alpha.
        image = image.convert("LA")
    if image.mode == "RGB" and "transparency" not in image.info:
        return _opaque_srgb(image, profile)
    rgba = image.convert("RGB") if image.mode == "CMYK" else image
    # Converting to the same mode would copy a large picture once more.
    rgba = rgba if rgba.mode == "RGBA" else rgba.convert("RGBA")
    step = _step_to_srgb(profile, image.mode) if profile else None
    if step is None:
        return rgba
    sources = {"CMYK": lambda: image, "L": lambda: rgba.getchannel("R")}
    managed = step.apply(sources.get(step.input_mode, lambda: rgba.convert("RGB"))())
    managed.putalpha(rgba.getchannel("A"))
    return managed


def _opaque_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """RGB without any clear colour; given its alpha where it lies, without another copy."""
    step = _step_to_srgb(profile, image.mode) if profile else None
    if step is not None:
        image = step.apply(image if step.input_mode == "RGB" else image.convert(step.input_mode))
    image.putalpha(255)
    return image


def _eight_bit_grey(image: Image.Image) -> Image.Image:
    """16-bit grey as L or LA, by the upper byte, as the library does for 16-bit colour."""
    grey = np.asarray(image)
    upper = Image.fromarray((grey >> 8).astype(np.uint8))
    clear = image.info.get("transparency")
    if isinstance(clear, int):
        upper.putalpha(Image.fromarray(np.where(grey == clear, 0, 255).astype(np.uint8)))
    return upper


def inverted_grey(image: Image.Image) -> Image.Image:
    """16-bit grey in which 0 is white, as grey in which 0 is black."""
    turned = Image.fromarray(65_535 - np.asarray(image).astype(np.uint16))
    turned.info = image.info
    return turned


def pixels_of(image: Image.Image) -> NDArray[np.uint8]:
    """The pixels of an RGBA picture (height, width, 4), read-only; copied once, in strips.

    In one go the library would hold them twice over beside the picture.
    """
    width, height = image.size
    pixels = np.empty((height, width, 4), np.uint8)
    rows = max(1, _STRIP_PIXELS // width)
    for top in range(0, height, rows):
        end = min(top + rows, height)
        pixels[top:end] = np.asarray(image.crop((0, top, width, end)))
    pixels.flags.writeable = False
    return pixels


_MODES_BY_SPACE = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}
_GREY_MODES = frozenset({"1", "L", "LA"})


def _step_to_srgb(profile: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """The step from an ICC profile's colours to sRGB, relative colorimetric.

    None for a profile that is broken or made for other channels than a picture of that ``mode``
    has, and for one that is sRGB as near as makes no difference: its codes then stay exact.
    """
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        source_mode = _MODES_BY_SPACE[source.profile.xcolor_space.strip()]
        if (source_mode == "CMYK") != (mode == "CMYK"):
            return None
        if source_mode == "L" and mode not in _GREY_MODES:
            return None
        step = ImageCms.buildTransform(
            source,
            ImageCms.createProfile("sRGB"),
            source_mode,
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
        return None if _changes_nothing(step) else step
    except (ImageCms.PyCMSError, AttributeError, KeyError, OSError, TypeError, ValueError):
        return None


def _changes_nothing(step: ImageCms.ImageCmsTransform) -> bool:
    """Whether no probe, 17 levels a channel, moves by more than 1 code of 255."""
    if step.input_mode == "CMYK":
        return False
    levels = np.linspace(0, 255, 17).round().astype(np.uint8)
    if step.input_mode == "RGB":
        levels = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(1, -1, 3)
    probe = Image.fromarray(np.atleast_2d(levels))
    before, after = (
        np.asarray(i, dtype=np.int16) for i in (probe.convert("RGB"), step.apply(probe))
    )
    return bool(np.abs(before - after).max() <= 1)
