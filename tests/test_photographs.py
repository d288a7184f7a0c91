"""Photographs: turned upright, without place, comment or tail, or refused with the reason.

Every picture is made here. Orientation values and the layout of Exif are those of the Exif
standard (CIPA DC-008), *from memory*; a second reading of what is kept looks at its bytes for
the words that were planted in the original.
"""

from __future__ import annotations

import hashlib
import struct
import warnings
import zipfile
import zlib
from collections.abc import Callable
from decimal import Decimal
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms
from PIL.PngImagePlugin import PngInfo

from hailcalc.claimfile import claim_from_data
from hailcalc.photographs import (
    MAX_BYTES,
    MAX_PREVIEW_BYTES,
    PREVIEW_EDGE,
    Photograph,
    examine,
    preview_size,
)
from hailcalc.problems import InputError
from hailcalc.schemas import schema
from tests.builders import Table, claim, estimate, panel, sheet
from tests.effort import examples

RED, GREEN, BLUE, WHITE = (220, 30, 30), (30, 180, 30), (30, 30, 220), (250, 250, 250)
PLANTED = [b"Wren Hollow", b"planted", b"Larkspur 9"]


def quarters(width: int = 80, height: int = 48) -> Image.Image:
    """A picture whose corners tell which way up it is: red, green / blue, white."""
    picture = Image.new("RGB", (width, height), WHITE)
    picture.paste(RED, (0, 0, width // 2, height // 2))
    picture.paste(GREEN, (width // 2, 0, width, height // 2))
    picture.paste(BLUE, (0, height // 2, width // 2, height))
    return picture


def noise(width: int, height: int, seed: int = 1) -> Image.Image:
    shape = (height, width, 3)
    return Image.fromarray(np.random.default_rng(seed).integers(0, 256, shape, dtype=np.uint8))


def encoded(picture: Image.Image, kind: str = "JPEG", **more: Any) -> bytes:
    out = BytesIO()
    if kind == "HEIF":
        import pillow_heif

        file = pillow_heif.from_pillow(picture)
        file.info.update(more)
        file.save(out, quality=95)
    else:
        picture.save(out, kind, **more)
    return out.getvalue()


def told(
    orientation: int | None = None, *, place: bool = False, taken: str = "", offset: str = ""
) -> bytes:
    """Exif as a camera writes it."""
    exif = Image.Exif()
    exif[0x010F], exif[0x013B] = "Larkspur 9", "Wren Hollow"
    if orientation is not None:
        exif[0x0112] = orientation
    inner = exif.get_ifd(0x8769)
    inner[0x927C] = b"planted by the maker"
    if taken:
        inner[0x9003] = taken
    if offset:
        inner[0x9011] = offset
    if place:
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2] = "N", (44.0, 57.0, 36.0)
        gps[3], gps[4] = "W", (89.0, 30.0, 0.9)
        gps[6], gps[29] = 412.0, "2026:05:19"
    return exif.tobytes()


def opened(photograph: Photograph) -> Image.Image:
    return Image.open(BytesIO(photograph.data))


def corners(picture: Image.Image) -> list[str]:
    """Which colour stands in the corners: top left, top right, bottom left, bottom right."""
    names = {"red": RED, "green": GREEN, "blue": BLUE, "white": WHITE}
    width, height = picture.size
    found = []
    for x, y in ((0.2, 0.2), (0.8, 0.2), (0.2, 0.8), (0.8, 0.8)):
        pixel: Any = picture.convert("RGB").getpixel((int(width * x), int(height * y)))
        found.append(min(names, key=lambda name: distance(names[name], pixel)))
    return found


def distance(one: tuple[int, ...], other: tuple[int, ...]) -> int:
    return sum(abs(a - b) for a, b in zip(one, other, strict=True))


def refusal(data: bytes, name: str = "door.jpg") -> str:
    with pytest.raises(InputError) as caught:
        examine(data, name)
    (problem,) = caught.value.problems
    assert problem.file == name
    return str(problem)


# --- the right way up -------------------------------------------------------------------------

# What the sensor's first row and first column are in the scene, by orientation (Exif, tag
# 0112, from memory): 1 top/left, 2 top/right, 3 bottom/right, 4 bottom/left, 5 left/top,
# 6 right/top, 7 right/bottom, 8 left/bottom.
ROW_AND_COLUMN = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def as_sensor_saw(scene: Image.Image, orientation: int) -> Image.Image:
    """The scene as it is stored under an orientation, pixel by pixel from the table above."""
    row, column = ROW_AND_COLUMN[orientation]
    pixels = np.asarray(scene)
    if row in ("left", "right"):
        pixels = pixels.transpose(1, 0, 2)
    if row in ("bottom", "right"):
        pixels = pixels[::-1]
    if column in ("bottom", "right"):
        pixels = pixels[:, ::-1]
    return Image.fromarray(np.ascontiguousarray(pixels))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", ROW_AND_COLUMN)
def test_a_photograph_stands_upright_however_the_camera_was_held(
    orientation: int, kind: str
) -> None:
    stored = as_sensor_saw(quarters(), orientation)
    found = examine(encoded(stored, kind, exif=told(orientation)), "door")
    assert (found.width, found.height) == opened(found).size == (80, 48)
    assert corners(opened(found)) == ["red", "green", "blue", "white"]
    assert corners(Image.open(BytesIO(found.preview))) == ["red", "green", "blue", "white"]
    assert 0x0112 not in opened(found).getexif()


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_heic_that_was_turned_stands_upright_once_not_twice(orientation: int) -> None:
    stored = as_sensor_saw(quarters(), orientation)
    found = examine(encoded(stored, "HEIF", exif=told(orientation)), "door.heic")
    assert corners(opened(found)) == ["red", "green", "blue", "white"]


@pytest.mark.parametrize("orientation", [0, 9, 255, 65535])
def test_an_orientation_that_there_is_not_leaves_the_picture_as_it_is(orientation: int) -> None:
    found = examine(encoded(quarters(), exif=told(orientation)), "door.jpg")
    assert corners(opened(found)) == ["red", "green", "blue", "white"]


# --- kinds ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "media_type"),
    [
        ("JPEG", "image/jpeg"),
        ("PNG", "image/png"),
        ("WEBP", "image/jpeg"),
        ("HEIF", "image/jpeg"),
    ],
)
@pytest.mark.parametrize("name", ["door.jpg", "door.png", "door", "door.exe"])
def test_what_a_file_is_shows_when_it_is_decoded_whatever_it_is_called(
    kind: str, media_type: str, name: str
) -> None:
    found = examine(encoded(quarters(), kind), name)
    assert found.media_type == media_type
    assert Image.MIME[opened(found).format or ""] == media_type
    assert corners(opened(found)) == ["red", "green", "blue", "white"]
    assert found.sha256 == hashlib.sha256(found.data).hexdigest()
    assert found.preview_sha256 == hashlib.sha256(found.preview).hexdigest()


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "I;16", "CMYK"])
def test_every_way_to_write_colours_becomes_plain_red_green_and_blue(mode: str) -> None:
    grey = np.tile(np.linspace(0, 65535, 64, dtype=np.uint16), (32, 1))
    if mode == "I;16":
        picture = Image.fromarray(grey)
    else:
        picture = Image.fromarray((grey >> 8).astype(np.uint8)).convert(mode)
    data = encoded(picture, "JPEG" if mode == "CMYK" else "PNG")
    with opened(examine(data, "ramp")) as kept:
        assert kept.mode == "RGB"
        left, right = kept.getpixel((1, 16)), kept.getpixel((62, 16))
    assert isinstance(left, tuple)
    assert isinstance(right, tuple)
    assert distance(left, (0, 0, 0)) < 60
    assert distance(right, (255, 255, 255)) < 60


def test_what_can_be_seen_through_lies_on_white() -> None:
    picture = Image.new("RGBA", (40, 40), (10, 20, 30, 0))
    kept = opened(examine(encoded(picture, "PNG"), "clear.png"))
    assert kept.getpixel((20, 20)) == (255, 255, 255)


def test_an_rgb_profile_is_kept_and_the_preview_is_in_srgb_without_one() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    found = examine(encoded(quarters(), icc_profile=profile), "door.jpg")
    assert opened(found).info["icc_profile"] == profile
    assert "icc_profile" not in Image.open(BytesIO(found.preview)).info
    assert corners(Image.open(BytesIO(found.preview))) == ["red", "green", "blue", "white"]


@pytest.mark.parametrize(
    "profile",
    [b"planted", b"\0" * 16 + b"RGB " + b"planted" * 40, b"\0" * 16 + b"CMYK" + b"x" * 200],
)
def test_a_profile_that_is_none_is_dropped(profile: bytes) -> None:
    found = examine(encoded(quarters(), icc_profile=profile), "door.jpg")
    assert "icc_profile" not in opened(found).info


def test_a_telephones_jpeg_with_a_second_picture_behind_it_keeps_the_first() -> None:
    out = BytesIO()
    quarters().save(out, "MPO", save_all=True, append_images=[Image.new("RGB", (20, 20), BLUE)])
    found = examine(out.getvalue(), "phone.jpg")
    assert corners(opened(found)) == ["red", "green", "blue", "white"]
    assert getattr(opened(found), "n_frames", 1) == 1


# --- what is said about a picture -------------------------------------------------------------


def with_words(kind: str) -> bytes:
    """A picture with names, a place and comments in every corner where its kind has one."""
    exif = told(1, place=True, taken="2026:05:19 16:20:05")
    more: dict[str, Any] = {"exif": exif}
    if kind in ("JPEG", "WEBP", "HEIF"):
        more["xmp"] = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>planted</x:xmpmeta>"
    if kind == "JPEG":
        more["comment"] = b"planted"
    if kind == "PNG":
        more["pnginfo"] = PngInfo()
        more["pnginfo"].add_text("Author", "Wren Hollow")
        more["pnginfo"].add_itxt("XML:com.adobe.xmp", "planted")
        more["pnginfo"].add_text("Comment", "planted", zip=True)
    data = encoded(quarters(), kind, **more)
    if kind == "JPEG":
        # IPTC lies in the segment APP13 of a JPEG, behind "Photoshop 3.0".
        block = b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x10\x1c\x02\x50\0\x0bWren Hollow"
        segment = b"\xff\xed" + struct.pack(">H", len(block) + 2) + block
        data = data[:2] + segment + data[2:]
    return data


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_names_places_and_comments_are_gone_and_the_time_stays(kind: str) -> None:
    data = with_words(kind)
    assert any(word in data for word in PLANTED)
    found = examine(data, "door")
    for kept in (found.data, found.preview):
        assert not [word for word in (*PLANTED, b"xmp", b"8BIM", b"2026:05:19\0\0") if word in kept]
    exif = opened(found).getexif()
    assert 0x8825 not in exif
    assert set(exif) == {0x8769}
    assert dict(exif.get_ifd(0x8769)) == {0x9000: b"0232", 0x9003: "2026:05:19 16:20:05"}
    assert found.place is None
    assert found.taken == "2026-05-19T16:20:05"
    assert not {"comment", "xmp", "photoshop", "Author", "Comment"} & opened(found).info.keys()
    assert not Image.open(BytesIO(found.preview)).getexif()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_the_place_is_kept_where_that_is_asked_for_and_nothing_else_with_it(kind: str) -> None:
    found = examine(with_words(kind), "door", keep_place=True)
    # 44° 57′ 36″ N and 89° 30′ 0.9″ W in degrees.
    assert found.place == (Decimal("44.96"), Decimal("-89.50025"))
    gps = opened(found).getexif().get_ifd(0x8825)
    assert set(gps) == {0, 1, 2, 3, 4}
    assert (gps[1], gps[3]) == ("N", "W")
    assert [float(part) for part in gps[4]] == [89.0, 30.0, 0.9]
    again = examine(found.data, "door", keep_place=True)
    assert (again.place, again.taken) == (found.place, found.taken)
    assert not [word for word in PLANTED if word in found.data]


@given(st.integers(-90_000_000, 90_000_000), st.integers(-180_000_000, 180_000_000))
@settings(max_examples=examples(30), deadline=None)
def test_a_kept_place_is_the_same_when_it_is_read_again(north: int, east: int) -> None:
    exif = Image.Exif()
    gps = exif.get_ifd(0x8825)
    gps[1], gps[3] = "SN"[north >= 0], "WE"[east >= 0]
    gps[2], gps[4] = ((abs(value) / 1e6, 0.0, 0.0) for value in (north, east))
    found = examine(encoded(quarters(16, 16), exif=exif.tobytes()), "door", keep_place=True)
    assert found.place is not None
    assert abs(found.place[0] - Decimal(north) / 1_000_000) <= Decimal("0.000001")
    assert abs(found.place[1] - Decimal(east) / 1_000_000) <= Decimal("0.000001")
    assert examine(found.data, "door", keep_place=True).place == found.place


@pytest.mark.parametrize(
    ("taken", "offset", "expected"),
    [
        ("2026:05:19 16:20:05", "", "2026-05-19T16:20:05"),
        ("2026:05:19 16:20:05", "-05:00", "2026-05-19T16:20:05-05:00"),
        ("2026:05:19 16:20:05", "+05:45", "2026-05-19T16:20:05+05:45"),
        ("2026:05:19 16:20:05", "+99:00", "2026-05-19T16:20:05"),
        ("2026:05:19 16:20:05", "noon", "2026-05-19T16:20:05"),
        ("2026:02:30 16:20:05", "", None),
        ("2026:05:19 25:20:05", "", None),
        ("0000:00:00 00:00:00", "", None),
        ("    :  :     :  :  ", "", None),
        ("19 May 2026", "", None),
        ("", "", None),
    ],
)
def test_the_time_is_the_cameras_own_or_not_known(
    taken: str, offset: str, expected: str | None
) -> None:
    data = encoded(quarters(), exif=told(taken=taken, offset=offset))
    assert examine(data, "door.jpg").taken == expected


@given(st.binary(max_size=300))
@settings(max_examples=examples(100), deadline=None)
def test_damaged_words_about_a_picture_spoil_no_picture_and_are_not_remarked_on(
    junk: bytes,
) -> None:
    whole = told(1, place=True, taken="2026:05:19 16:20:05")
    for exif in (b"Exif\0\0" + junk, whole[: len(junk)] + junk, whole[:40] + junk):
        data = encoded(quarters(16, 16), exif=exif)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            found = examine(data, "door.jpg", keep_place=True)
        assert found.width == found.height == 16


# --- what is refused --------------------------------------------------------------------------


def svg() -> bytes:
    return b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"


def zipped() -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("door.jpg", encoded(quarters()))
    return out.getvalue()


DISGUISES: dict[str, Callable[[], bytes]] = {
    "nothing": lambda: b"",
    "a drawing with a script": svg,
    "a page": lambda: b"<!doctype html><img src=x onerror=alert(1)>",
    "a script": lambda: b"#!/bin/sh\nrm -r /\n",
    "an archive": zipped,
    "a document": lambda: b"%PDF-1.7\n%%EOF\n",
    "a GIF": lambda: encoded(quarters(), "GIF"),
    "a bitmap": lambda: encoded(quarters(), "BMP"),
    "a TIFF": lambda: encoded(quarters(), "TIFF"),
    "an icon": lambda: encoded(quarters(), "ICO"),
    "an AVIF": lambda: encoded(quarters(), "AVIF"),
    "a film": lambda: b"\0\0\0\x18ftypisom\0\0\2\0isomiso2" + b"\0" * 200,
    "the beginning of a JPEG": lambda: b"\xff\xd8\xff\xe0",
    "a JPEG's name on text": lambda: b"\xff\xd8" + b"text " * 100,
}


@pytest.mark.parametrize("disguise", DISGUISES)
def test_what_is_no_photograph_is_refused_though_it_is_called_one(disguise: str) -> None:
    found = refusal(DISGUISES[disguise]())
    assert found.startswith("door.jpg: found no picture of these kinds")
    assert found.endswith("expected one whole JPEG, PNG, WebP or HEIC picture")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_photograph_that_breaks_off_is_refused_wherever_it_does(kind: str) -> None:
    data = encoded(noise(40, 32), kind)
    # A PNG without its check sums and its end chunk still has every pixel.
    end = len(data) - 21 if kind == "PNG" else len(data) - 1
    for cut in [*range(0, end, max(1, end // 150)), end]:
        found = refusal(data[:cut])
        assert "breaks off or is damaged" in found or "no picture of these kinds" in found


def test_a_damaged_row_of_a_png_is_refused() -> None:
    data = bytearray(encoded(noise(40, 32), "PNG"))
    data[len(data) // 2] ^= 0xFF
    assert "that breaks off or is damaged" in refusal(bytes(data))


def png_header(width: int, height: int) -> bytes:
    """A PNG that says it is so large, and holds next to nothing."""

    def chunk(name: bytes, body: bytes) -> bytes:
        check = zlib.crc32(name + body)
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", check)

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000)
    sign = b"\x89PNG\r\n\x1a\n"
    return sign + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("width", "height"), [(10_001, 10_000), (30_000, 30_000), (2**31 - 1, 2**31 - 1)]
)
def test_a_picture_that_would_fill_the_memory_is_refused_by_its_header(
    width: int, height: int, recwarn: pytest.WarningsRecorder
) -> None:
    found = refusal(png_header(width, height))
    assert "expected at most 100 million pixels" in found or "no picture of these kinds" in found
    assert len(recwarn) == 0


def test_a_jpeg_drawn_in_hundreds_of_passes_is_refused() -> None:
    data = encoded(quarters(400, 400), progressive=True)
    last = data.rfind(b"\xff\xda")
    passes = data[:last] + data[last:-2] * 99 + data[-2:]
    assert "passes" in refusal(passes)
    assert corners(opened(examine(data, "door.jpg"))) == ["red", "green", "blue", "white"]


@pytest.mark.parametrize("size", [(15, 200), (200, 15), (1, 1)])
def test_a_picture_too_small_to_show_anything_is_refused(size: tuple[int, int]) -> None:
    assert "expected at least 16 pixels along each edge" in refusal(encoded(noise(*size)))


def test_a_file_that_is_too_long_is_refused() -> None:
    found = refusal(encoded(quarters()) + b"\0" * MAX_BYTES)
    assert "expected at most 25,000,000 bytes" in found


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_a_moving_picture_is_refused(kind: str) -> None:
    more = [quarters().rotate(180)]
    moving = encoded(quarters(), kind, save_all=True, append_images=more, duration=100)
    assert "moving or several pictures" in refusal(moving)


def test_a_heic_with_two_pictures_is_refused() -> None:
    import pillow_heif

    file = pillow_heif.from_pillow(quarters())
    file.add_from_pillow(quarters().rotate(180))
    out = BytesIO()
    file.save(out)
    assert "moving or several pictures" in refusal(out.getvalue(), "two.heic")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("tail", [svg, zipped, lambda: b"planted" * 1000])
def test_what_hangs_behind_a_picture_is_not_kept(kind: str, tail: Callable[[], bytes]) -> None:
    data = encoded(quarters(), kind)
    found = examine(data + tail(), "door")
    assert found.data == examine(data, "door").data
    assert found.preview == examine(data, "door").preview
    for kept in (found.data, found.preview):
        assert not zipfile.is_zipfile(BytesIO(kept))
        assert b"script" not in kept
        assert b"planted" not in kept


# --- previews ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((2000, 1500), (640, 480)),
        ((1500, 2000), (480, 640)),
        ((640, 480), (640, 480)),
        ((100, 50), (100, 50)),
        ((5000, 16), (640, 2)),
    ],
)
def test_a_preview_is_small_and_as_broad_for_its_height_as_the_photograph(
    size: tuple[int, int], expected: tuple[int, int]
) -> None:
    found = examine(encoded(quarters(*size)), "door.jpg")
    assert (found.width, found.height) == size
    assert preview_size(found.preview) == expected
    assert max(expected) <= PREVIEW_EDGE
    assert found.preview[:4] == b"\xff\xd8\xff\xe0"


def test_even_the_busiest_preview_keeps_within_its_bytes() -> None:
    found = examine(encoded(noise(PREVIEW_EDGE, PREVIEW_EDGE), "PNG"), "gravel.png")
    assert len(found.preview) <= MAX_PREVIEW_BYTES


@pytest.mark.parametrize(
    "data",
    [
        b"",
        svg(),
        encoded(quarters(), "PNG"),
        encoded(quarters().convert("L")),
        encoded(quarters().convert("CMYK")),
        encoded(quarters(641, 100)),
    ],
)
def test_what_examining_would_not_have_made_is_no_preview(data: bytes) -> None:
    assert preview_size(data) is None


def test_the_same_photograph_gives_the_same_bytes_each_time() -> None:
    data = encoded(noise(300, 200), exif=told(6, place=True, taken="2026:05:19 16:20:05"))
    assert examine(data, "a.jpg", keep_place=True) == examine(data, "b.jpg", keep_place=True)


# --- in the claim file ------------------------------------------------------------------------


def entry(number: int = 1, **more: Any) -> Table:
    """A photograph as a claim file lists it."""
    return {
        "panel": "hood",
        "sha256": f"{number:064x}",
        "preview": f"{number + 1000:064x}",
        "width": 4000,
        "height": 3000,
        **more,
    }


def mistakes(*entries: Table, **more: Any) -> list[str]:
    read = claim_from_data(claim(panel("hood"), photographs=list(entries), **more))
    return [str(problem) for problem in read.problems]


def test_a_claim_may_list_photographs_of_panels_and_of_the_whole_vehicle() -> None:
    assert mistakes(entry(), entry(2, panel=None), entry(3, panel="roof", note="Overview")) == []
    taken = ["2026-05-19T16:20:05", "2026-05-19T16:20:05+05:45", None]
    assert mistakes(*(entry(number, taken=time) for number, time in enumerate(taken))) == []


def test_photographs_change_the_digest_of_a_sheet_and_no_price() -> None:
    without = sheet(estimate(claim(panel("hood"))))
    one, other = (
        sheet(estimate(claim(panel("hood"), photographs=[entry(number)]))) for number in (1, 2)
    )
    assert without["lines"] == one["lines"] == other["lines"]
    assert without["totals"] == one["totals"] == other["totals"]
    assert len({each["digest"] for each in (without, one, other)}) == 3
    assert "photographs" not in without["claim_file"]


def test_the_same_photograph_belongs_to_a_panel_once_but_may_show_two_panels() -> None:
    assert mistakes(entry(), entry(panel="roof"), entry(panel=None)) == []
    assert mistakes(entry(), entry(2), entry()) == [
        "claim: photographs[2].sha256: found the photograph of photographs[0] again, "
        "expected a photograph once on a panel"
    ]


def test_a_photograph_of_a_panel_that_the_body_has_not_is_a_mistake() -> None:
    (found,) = mistakes(entry(panel="tailgate"))
    assert found.startswith('claim: photographs[0].panel: found "tailgate" on a sedan')


@pytest.mark.parametrize(
    ("key", "value", "expected"),
    [
        ("sha256", "ab", "64 hexadecimal digits in lower case (SHA-256)"),
        ("sha256", "A" * 64, "64 hexadecimal digits in lower case (SHA-256)"),
        ("preview", "g" * 64, "64 hexadecimal digits in lower case (SHA-256)"),
        ("preview", "0" * 64 + "\n", "64 hexadecimal digits in lower case (SHA-256)"),
        ("taken", "2026-02-30T00:00:00", "a time such as 2026-05-19T16:20:05 (ISO 8601)"),
        ("taken", "2026-05-19", "a time such as 2026-05-19T16:20:05 (ISO 8601)"),
        ("taken", "2026-05-19T16:20:05Z", "a time such as 2026-05-19T16:20:05 (ISO 8601)"),
        ("width", 0, "1 or more"),
        ("height", 4.5, "a whole number"),
        ("note", "two\nlines", "one line of text without control or invisible characters"),
    ],
)
def test_a_mistake_in_a_listed_photograph_is_told_with_its_place(
    key: str, value: Any, expected: str
) -> None:
    (found,) = mistakes(entry(), entry(2, **{key: value}))
    assert found.startswith(f"claim: photographs[1].{key}: found ")
    assert found.endswith(f"expected {expected}")


def test_mistakes_in_photographs_hide_none_elsewhere() -> None:
    found = mistakes(entry(width=0), entry(2, panel="tailgate"), entry(3), entry(3))
    assert len(found) == 3
    assert len(mistakes(*(entry(number) for number in range(201)))) == 1


def test_the_schema_says_what_a_listed_photograph_is() -> None:
    import jsonschema

    validator = jsonschema.Draft202012Validator(schema("claim"))
    good = claim(panel("hood"), photographs=[entry(taken="2026-05-19T16:20:05")])
    assert validator.is_valid(good)
    for bad in (entry(sha256="ab"), entry(taken="noon"), entry(width=0), {"panel": "hood"}):
        assert not validator.is_valid(claim(panel("hood"), photographs=[bad]))
