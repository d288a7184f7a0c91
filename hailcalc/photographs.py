"""Photographs as they come from a camera, made safe to keep and to hand on.

`examine` decodes a picture whole, turns it upright and writes it anew, so that nothing is kept
but its pixels, its colours' meaning (an RGB profile) and the time it was taken: not where, by
whom or with what, no comment, no thumbnail and no byte before or behind the picture. What a
file is, is found by decoding it, never by its name. Sizes are in pixels and bytes.

`preview` is the small picture that a claim sheet prints, `preview_size` what makes one printable.
"""

from __future__ import annotations

import hashlib
import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING, Any, TypeVar

from hailcalc.problems import InputError, Problem

if TYPE_CHECKING:
    from PIL.Image import Exif, Image
    from PIL.ImageCms import ImageCmsTransform

MAX_BYTES = 25_000_000
"""Largest photograph that is taken in, and largest that is kept."""

MAX_PIXELS = 100_000_000
"""Most pixels; read from the header, before anything is decoded."""

MIN_EDGE = 16
"""Shortest edge in pixels; less is no photograph."""

PREVIEW_EDGE = 640
"""Longest edge of a preview in pixels."""

MAX_PREVIEW_BYTES = 200_000
"""Largest preview, so that two hundred of them fit into a PDF that is still verified."""

_QUALITY = 92
_PREVIEW_QUALITIES = (80, 60, 40)
_MAX_SCANS = 100
_MAX_EXIF = 1_000_000
_MAX_PROFILE = 64_000
_FORMATS = ("JPEG", "PNG", "WEBP")
_ONE_OF = "one whole JPEG, PNG, WebP or HEIC picture"

# Tags and values of Exif 2.32 (CIPA DC-008).
_ORIENTATION = 0x0112
_EXIF_TABLE, _VERSION, _TAKEN, _OFFSET = 0x8769, 0x9000, 0x9003, 0x9011
_GPS_TABLE, _GPS_VERSION = 0x8825, 0
_LATITUDE, _LONGITUDE = (1, 2), (3, 4)
_EXIF_TIME = re.compile(r"([0-9]{4}):([0-9]{2}):([0-9]{2}) ([0-9]{2}:[0-9]{2}:[0-9]{2})")
_EXIF_OFFSET = re.compile(r"[+-][0-9]{2}:[0-9]{2}")

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph made safe. `data` is what is kept; hashes are SHA-256 in hex.

    `taken` is the camera's own clock, ISO 8601, with its offset where the camera gave it; `place`
    is latitude and longitude in degrees, only where it was to be kept.
    """

    data: bytes
    sha256: str
    media_type: str
    width: int
    height: int
    taken: str | None
    place: tuple[Decimal, Decimal] | None
    preview: bytes
    preview_sha256: str


def examine(data: bytes, name: str, *, keep_place: bool = False) -> Photograph:
    """Decode a photograph and write it anew: PNG stays PNG, everything else becomes JPEG.

    `name` is only used in messages. Raises InputError for what is no single whole picture of a
    kind that is taken, or is too large or too small.
    """
    with warnings.catch_warnings():
        # The readers' remarks on damaged files would stand among ours.
        warnings.filterwarnings("ignore", module=r"PIL\.")
        return _examined(data, name, keep_place)


def _examined(data: bytes, name: str, keep_place: bool) -> Photograph:
    image = _decoded(data, name)
    is_png = image.format == "PNG"
    exif = _guarded(image.getexif)
    taken = None if exif is None else _guarded(lambda: _taken(exif))
    place = _guarded(lambda: _place(exif)) if exif is not None and keep_place else None
    profile = _profile(image)
    image = _flat(_upright(image, exif))
    more: dict[str, Any] = {"exif": _exif(taken, place)} if taken or place else {}
    if profile is not None:
        more["icc_profile"] = profile
    media_type, kept = _written(image, is_png, more, name)
    preview = _preview(image, profile)
    return Photograph(
        data=kept,
        sha256=hashlib.sha256(kept).hexdigest(),
        media_type=media_type,
        width=image.width,
        height=image.height,
        taken=taken,
        place=place,
        preview=preview,
        preview_sha256=hashlib.sha256(preview).hexdigest(),
    )


def preview_size(data: bytes) -> tuple[int, int] | None:
    """Width and height of a preview as `examine` makes it (a small RGB JPEG); None of others."""
    from PIL import Image

    try:
        with Image.open(BytesIO(data), formats=("JPEG",)) as image:
            size, mode, kind = image.size, image.mode, image.format
    except Exception:
        # Whatever the reader stumbles over, it is no preview of ours.
        return None
    small = min(size) >= 1 and max(size) <= PREVIEW_EDGE
    return size if small and mode == "RGB" and kind == "JPEG" else None


def _decoded(data: bytes, name: str) -> Image:
    """The picture, every pixel of it decoded. Raises InputError if there is none to be had."""
    if len(data) > MAX_BYTES:
        raise _refusal(name, f"{len(data):,} bytes", f"at most {MAX_BYTES:,} bytes")
    try:
        image = _opened(data)
    except Exception:
        # Damaged files make the readers fail in any way; none of them is a picture.
        raise _refusal(name, "no picture of these kinds", _ONE_OF) from None
    kind = image.format or "picture"
    width, height = image.size
    if width * height > MAX_PIXELS:
        limit = f"at most {MAX_PIXELS // 1_000_000} million pixels"
        raise _refusal(name, f"{width:,} by {height:,} pixels", limit)
    if min(width, height) < MIN_EDGE:
        found = f"{width:,} by {height:,} pixels"
        raise _refusal(name, found, f"at least {MIN_EDGE} pixels along each edge")
    # A telephone's JPEG may carry a map of brightness as a second picture, which is dropped.
    frames = 1 if kind in ("JPEG", "MPO") else _guarded(lambda: int(getattr(image, "n_frames", 1)))
    if frames != 1:
        raise _refusal(name, "moving or several pictures in one file", _ONE_OF)
    if kind in ("JPEG", "MPO") and _scans(data) > _MAX_SCANS:
        raise _refusal(name, f"a JPEG drawn in more than {_MAX_SCANS} passes", _ONE_OF)
    if len(image.info.get("exif") or b"") > _MAX_EXIF:
        raise _refusal(name, "more than a million bytes about the picture", _ONE_OF)
    try:
        image.load()
    except Exception:
        raise _refusal(name, f"a {kind} that breaks off or is damaged", _ONE_OF) from None
    return image


def _opened(data: bytes) -> Image:
    """The picture with its header read, nothing decoded."""
    from PIL import Image

    if data[4:8] == b"ftyp":  # ISO base media file format, clause 4.3
        from pillow_heif import HeifImageFile

        heif: Image.Image = HeifImageFile(BytesIO(data))  # type: ignore[no-untyped-call]
        if getattr(heif, "custom_mimetype", "") not in ("image/heic", "image/heif"):
            raise ValueError("another format in the same container")
        return heif
    return Image.open(BytesIO(data), formats=_FORMATS)


_NEXT_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


def _scans(data: bytes) -> int:
    """In how many passes a JPEG is drawn, as far as the limit.

    Each pass may go over every pixel, so that a small file with thousands would take minutes. A
    camera's has one, a progressive one a dozen.
    """
    scans, at = 0, 2
    while scans <= _MAX_SCANS and (marker := _NEXT_MARKER.search(data, at)):
        code = marker[0][1]
        if code == 0xD9:  # end of the image (ITU-T T.81, table B.1)
            break
        scans += code == 0xDA
        length = int.from_bytes(data[marker.end() : marker.end() + 2], "big")
        at = marker.end() + max(2, length)
    return scans


def _refusal(name: str, found: str, expected: str) -> InputError:
    return InputError([Problem(name, (), found, expected)])


def _guarded(read: Callable[[], Value]) -> Value | None:
    """What `read` returns, None if it fails: damaged words about a picture spoil no picture."""
    try:
        return read()
    except Exception:
        return None


def _upright(image: Image, exif: Exif | None) -> Image:
    """The picture as it was seen when it was taken, by Exif's eight orientations."""
    from PIL.Image import Transpose

    turns = {
        2: Transpose.FLIP_LEFT_RIGHT,
        3: Transpose.ROTATE_180,
        4: Transpose.FLIP_TOP_BOTTOM,
        5: Transpose.TRANSPOSE,
        6: Transpose.ROTATE_270,
        7: Transpose.TRANSVERSE,
        8: Transpose.ROTATE_90,
    }
    orientation = None if exif is None else _guarded(lambda: exif.get(_ORIENTATION))
    turn = turns.get(orientation) if isinstance(orientation, int) else None
    return image if turn is None else image.transpose(turn)


def _flat(image: Image) -> Image:
    """The picture in RGB, on white where it can be seen through, and nothing else about it."""
    from PIL import Image

    if image.mode.startswith("I;16"):
        # Sixteen bits a pixel would be cut at eight rather than scaled.
        image = image.point(lambda value: value / 256).convert("L")
    if image.has_transparency_data:
        clear = image.convert("RGBA")
        image = Image.new("RGB", clear.size, "white")
        image.paste(clear, mask=clear.getchannel("A"))
    elif image.mode != "RGB":
        image = image.convert("RGB")
    # What a reader found beside the pixels is what a writer would write again.
    image.info = {}
    return image


def _profile(image: Image) -> bytes | None:
    """The picture's colour profile, if it is a sound and small one for RGB."""
    profile = image.info.get("icc_profile")
    if not isinstance(profile, bytes) or image.mode not in ("RGB", "RGBA"):
        return None
    # The colour space stands at byte 16 of a profile's header (ICC.1, clause 7.2).
    if len(profile) > _MAX_PROFILE or profile[16:20] != b"RGB ":
        return None
    return profile if _guarded(lambda: _to_srgb(profile)) else None


def _to_srgb(profile: bytes) -> ImageCmsTransform:
    """The way from a profile's colours to those of sRGB."""
    from PIL import ImageCms

    own, srgb = ImageCms.getOpenProfile(BytesIO(profile)), ImageCms.createProfile("sRGB")
    return ImageCms.buildTransform(own, srgb, "RGB", "RGB")


def _taken(exif: Exif) -> str | None:
    """When the picture was taken, by the camera's clock."""
    table = exif.get_ifd(_EXIF_TABLE)
    written = _EXIF_TIME.fullmatch(str(table.get(_TAKEN, "")).strip("\0 "))
    if written is None:
        return None
    year, month, day, time = written.groups()
    taken = f"{year}-{month}-{day}T{time}"
    datetime.fromisoformat(taken)  # fails for a day or an hour that there is not
    offset = str(table.get(_OFFSET, "")).strip("\0 ")
    if _EXIF_OFFSET.fullmatch(offset) and _guarded(lambda: datetime.fromisoformat(taken + offset)):
        return taken + offset
    return taken


def _place(exif: Exif) -> tuple[Decimal, Decimal] | None:
    """Latitude and longitude in degrees, to a tenth of a metre."""
    table = exif.get_ifd(_GPS_TABLE)
    latitude = _degrees(table, _LATITUDE, "NS")
    longitude = _degrees(table, _LONGITUDE, "EW")
    if abs(latitude) > 90 or abs(longitude) > 180:
        return None
    return latitude, longitude


def _degrees(table: dict[int, Any], tags: tuple[int, int], sides: str) -> Decimal:
    """One coordinate, from degrees, minutes and seconds and the side that they are on."""
    side, parts = table[tags[0]], table[tags[1]]
    sign = {sides[0]: 1, sides[1]: -1}[str(side).strip("\0 ")]
    degrees, minutes, seconds = (Fraction(part.numerator, part.denominator) for part in parts)
    value = sign * (degrees + minutes / 60 + seconds / 3600)
    return Decimal(round(value * 1_000_000)).scaleb(-6)


def _exif(taken: str | None, place: tuple[Decimal, Decimal] | None) -> bytes:
    """Exif with only what is to be kept."""
    from PIL.Image import Exif

    exif = Exif()
    if taken is not None:
        table = exif.get_ifd(_EXIF_TABLE)
        table[_VERSION] = b"0232"
        table[_TAKEN] = taken[:19].replace("-", ":").replace("T", " ")
        if len(taken) > 19:
            table[_OFFSET] = taken[19:]
    if place is not None:
        table = exif.get_ifd(_GPS_TABLE)
        table[_GPS_VERSION] = b"\2\3\0\0"
        for degrees, tags, sides in zip(place, (_LATITUDE, _LONGITUDE), ("NS", "EW"), strict=True):
            table[tags[0]] = sides[degrees < 0]
            table[tags[1]] = _sexagesimal(abs(degrees))
    return exif.tobytes()


def _sexagesimal(degrees: Decimal) -> tuple[Any, ...]:
    """Degrees, minutes and seconds as Exif's rationals."""
    from PIL.TiffImagePlugin import IFDRational

    minutes, seconds = divmod(round(degrees * 36_000_000), 600_000)
    return (
        IFDRational(minutes // 60, 1),
        IFDRational(minutes % 60, 1),
        IFDRational(seconds, 10_000),
    )


def _written(image: Image, is_png: bool, more: dict[str, Any], name: str) -> tuple[str, bytes]:
    """The picture's media type and bytes; a PNG that would grow too large becomes a JPEG."""
    out = BytesIO()
    if is_png:
        image.save(out, "PNG", **more)
        if out.tell() <= MAX_BYTES:
            return "image/png", out.getvalue()
        out = BytesIO()
    image.save(out, "JPEG", quality=_QUALITY, **more)
    if out.tell() > MAX_BYTES:
        limit = f"at most {MAX_BYTES:,} bytes"
        raise _refusal(name, f"{out.tell():,} bytes when it is written anew", limit)
    return "image/jpeg", out.getvalue()


def _preview(image: Image, profile: bytes | None) -> bytes:
    """The picture small, in the colours of sRGB, without a word about it."""
    from PIL.Image import Resampling

    share = min(Fraction(PREVIEW_EDGE, max(image.size)), Fraction(1))
    size = (max(1, round(image.width * share)), max(1, round(image.height * share)))
    small = image if share == 1 else image.resize(size, Resampling.LANCZOS, reducing_gap=3.0)
    if profile is not None:
        from PIL import ImageCms

        small = ImageCms.applyTransform(small, _to_srgb(profile)) or small
    for quality in _PREVIEW_QUALITIES:
        out = BytesIO()
        small.save(out, "JPEG", quality=quality, optimize=True)
        if out.tell() <= MAX_PREVIEW_BYTES:
            break
    return out.getvalue()
