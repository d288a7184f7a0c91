"""Photographs of the invented storm, drawn: a panel under a light board, its stripes bent by dents.

There is no such vehicle and no camera. Where paint is flat the board's stripes are straight; a dent
is a small hollow that pushes them aside, which is what an estimator looks for. Sizes in pixels.
"""

from __future__ import annotations

from io import BytesIO

WIDTH, HEIGHT = 960, 720
_STRIPES = 11


def drawn(dents: int, seed: int, taken: str) -> bytes:
    """A JPEG of so many dents; `taken` (2026:05:20 09:12:00) is what a camera would note."""
    import numpy as np
    from PIL import ExifTags, Image

    chance = np.random.default_rng(seed)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float64)
    # A panel is a little curved, so its stripes are too.
    phase = _STRIPES * (x / WIDTH + 0.06 * np.sin(np.pi * y / HEIGHT))
    for _ in range(dents):
        across, down = chance.uniform(0.06, 0.94, 2) * (WIDTH, HEIGHT)
        radius = chance.uniform(13, 30)
        near = np.exp(-((x - across) ** 2 + (y - down) ** 2) / (2 * radius**2))
        phase += 0.55 * near * (x - across) / radius
    light = 1 / (1 + np.exp(-7 * np.sin(2 * np.pi * phase)))
    shade = 0.82 + 0.18 * y / HEIGHT
    grey = (38 + 190 * light) * shade + chance.normal(0, 2.5, x.shape)
    tint = np.array((0.96, 0.99, 1.0))
    picture = np.clip(grey[..., None] * tint, 0, 255).astype(np.uint8)
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken
    out = BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=88, exif=exif)
    return out.getvalue()
